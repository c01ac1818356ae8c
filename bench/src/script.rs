//! Scripts on disk: finding them, reading them with their options, their feed and
//! the output they must print. A script may come packed, as an image: its first
//! four bytes tell.
//!
//! It refuses what is no script text: a binary file, text that is not UTF-8, a
//! folder without scripts; and an image that the verifier refuses. It writes
//! nothing.

use std::collections::HashSet;
use std::fmt;
use std::fs::{self, File};
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use scruple_bytecode::Encoding;
use scruple_bytecode::image::header;
use scruple_bytecode::verify::{VerifyError, verify_with};

use crate::feed::Feed;
use crate::files;
use crate::options::RunOptions;
use crate::sets::Sets;

/// The most bytes of a script that are read.
const MOST_BYTES: u64 = 1 << 28;

/// A script, and what belongs to it.
#[derive(Clone, Debug)]
pub struct Script {
    /// The name a report shows.
    pub name: String,
    /// The source text; of a packed script it is not at hand, and empty.
    pub text: String,
    /// The image, if the script came packed.
    pub packed: Option<Packed>,
    /// What its header asks for. A packed script has none.
    pub options: RunOptions,
    /// What its sensors read.
    pub feed: Arc<Feed>,
    /// What it must print, if that is known.
    pub expected: Option<String>,
    /// The files it was read from: itself first, what it must print, its feed. None where
    /// it came from a text or a stream.
    pub files: Vec<PathBuf>,
}

/// An image that the verifier has found safe to run.
#[derive(Clone, Debug)]
pub struct Packed {
    /// Its bytes.
    pub image: Vec<u8>,
    /// The encoding of its instructions.
    pub encoding: Encoding,
}

/// A file that was asked for: a script, or why it is none.
#[derive(Debug)]
pub struct Candidate {
    /// The name a report shows.
    pub name: String,
    /// The script.
    pub script: Result<Script, ScriptError>,
}

/// Why there is no script.
#[derive(Debug)]
pub struct ScriptError {
    name: String,
    kind: Kind,
}

#[derive(Debug)]
enum Kind {
    Io(io::Error),
    Folder,
    EmptyFolder,
    Binary { offset: usize },
    NotUtf8 { offset: usize, byte: u8 },
    TooLong,
    NoFile,
    Image { error: VerifyError, encoding: Option<Encoding> },
    Expected { file: String, error: Box<ScriptError> },
    Header(crate::options::HeaderError),
    Feed { file: String, error: crate::feed::FeedError },
    FeedFile { file: String, error: Box<ScriptError> },
}

impl ScriptError {
    /// The line at fault, if the fault is in the script's header, or in an image
    /// that has a line table.
    pub fn line(&self) -> Option<u32> {
        match &self.kind {
            Kind::Header(error) => u32::try_from(error.line()).ok(),
            Kind::Image { error, .. } => error.position().map(|position| position.line),
            _ => None,
        }
    }

    /// What is wrong, without the name and the line.
    pub fn reason(&self) -> String {
        match &self.kind {
            Kind::Io(error) => files::reason(error),
            Kind::Folder => "a folder, where a file is wanted".to_owned(),
            Kind::EmptyFolder => "no script (*.js) in this folder".to_owned(),
            Kind::Binary { offset } => {
                format!("a binary file, no text: a zero byte at offset {offset}")
            }
            Kind::NotUtf8 { offset, byte } => {
                format!("not UTF-8: byte 0x{byte:02x} at offset {offset}")
            }
            Kind::TooLong => format!("longer than {MOST_BYTES} bytes"),
            Kind::NoFile => "no regular file".to_owned(),
            Kind::Image { error, .. } => error.to_string(),
            Kind::Expected { file, error } => {
                format!("what it must print, {file}, cannot be read: {}", error.reason())
            }
            Kind::Header(error) => error.message().to_owned(),
            Kind::Feed { file, error } => {
                format!("its feed {file} is wrong in line {}: {}", error.line(), error.message())
            }
            Kind::FeedFile { file, error } => {
                format!("its feed {file} cannot be read: {}", error.reason())
            }
        }
    }
}

impl fmt::Display for ScriptError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.name)?;
        if let Some(line) = self.line() {
            write!(f, ":{line}")?;
        }
        write!(f, ": {}", self.reason())
    }
}

impl std::error::Error for ScriptError {}

impl Script {
    /// A script whose text is at hand. A header that cannot be read counts as a
    /// comment; a feed is not looked for.
    pub fn from_text(name: &str, text: &str, expected: Option<&str>) -> Script {
        Script {
            name: name.to_owned(),
            text: text.to_owned(),
            packed: None,
            options: RunOptions::from_header(text).unwrap_or_default(),
            feed: Arc::default(),
            expected: expected.map(str::to_owned),
            files: Vec::new(),
        }
    }

    /// Reads a script or an image, the feed it is to have and the output it must
    /// print. What is asked for goes before what its header asks for.
    pub fn read(path: &Path, asked: &RunOptions) -> Result<Script, ScriptError> {
        let name = display_name(path);
        let content = Content::of(&name, read_bytes(path)?, asked.sets())?;
        let out = path.with_extension("out");
        let expected = read_expected(&name, &out)?;
        let mut files = vec![path.to_owned()];
        files.extend(expected.is_some().then_some(out));
        let folder = path.parent().unwrap_or(Path::new("")).to_owned();
        let mut script = Script::assemble(name, content, asked, &folder)?;
        script.expected = expected;
        script.files.splice(..0, files);
        Ok(script)
    }

    /// Reads a script from a stream, such as standard input.
    pub fn read_from(
        name: &str,
        stream: &mut dyn Read,
        asked: &RunOptions,
    ) -> Result<Script, ScriptError> {
        let content = Content::of(name, bytes_of(name, stream)?, asked.sets())?;
        Script::assemble(name.to_owned(), content, asked, Path::new(""))
    }

    fn assemble(
        name: String,
        content: Content,
        asked: &RunOptions,
        folder: &Path,
    ) -> Result<Script, ScriptError> {
        let Content { text, packed } = content;
        let header = RunOptions::from_header(&text)
            .map_err(|error| ScriptError { name: name.clone(), kind: Kind::Header(error) })?;
        // A path in the header is meant from the script's own folder.
        let of_header = header.feed.as_ref().map(|path| folder.join(path));
        let file = asked.feed.clone().or(of_header);
        let feed = file.as_deref().map(|path| read_feed(&name, path)).transpose()?;
        let feed = Arc::new(feed.unwrap_or_default());
        let options = asked.clone().or(header);
        let files = file.into_iter().collect();
        Ok(Script { name, text, packed, options, feed, expected: None, files })
    }
}

/// What a file holds: text, or an image.
struct Content {
    text: String,
    packed: Option<Packed>,
}

impl Content {
    fn of(name: &str, bytes: Vec<u8>, sets: Sets) -> Result<Content, ScriptError> {
        if !bytes.starts_with(&header::MAGIC) {
            return Ok(Content { text: text_of(name, bytes)?, packed: None });
        }
        // The machine verifies again, in its own memory; this is for whoever reads
        // an image without running it.
        let mut scratch = vec![0u16; bytes.len()];
        match verify_with(&bytes, sets, scratch.as_mut_slice()).map(|image| image.encoding()) {
            Ok(encoding) => {
                let packed = Some(Packed { image: bytes, encoding });
                Ok(Content { text: String::new(), packed })
            }
            Err(error) => {
                let encoding = encoding_of(&bytes);
                let kind = Kind::Image { error, encoding };
                Err(ScriptError { name: name.to_owned(), kind })
            }
        }
    }
}

/// What the header of an image that is refused says of its encoding, where it is whole
/// enough to say anything.
fn encoding_of(bytes: &[u8]) -> Option<Encoding> {
    let is_known = bytes.get(header::AT_VERSION) == Some(&header::VERSION);
    let number = bytes.get(header::AT_ENCODING).filter(|_| is_known)?;
    Encoding::from_number(*number)
}

/// What a report calls the encoding of an image that does not tell.
const UNKNOWN: &str = "unknown";

impl Candidate {
    /// Whether it is an image, a damaged one too: it has the encoding it has, whatever is
    /// asked for.
    pub fn is_image(&self) -> bool {
        match &self.script {
            Ok(script) => script.packed.is_some(),
            Err(error) => matches!(error.kind, Kind::Image { .. }),
        }
    }

    /// The encoding that it has of itself: an image's, if its header tells.
    pub fn own_encoding(&self) -> Option<Encoding> {
        match &self.script {
            Ok(script) => script.packed.as_ref().map(|packed| packed.encoding),
            Err(ScriptError { kind: Kind::Image { encoding, .. }, .. }) => *encoding,
            Err(_) => None,
        }
    }

    /// What a row calls its encoding, where this one was asked for.
    pub(crate) fn encoding_name(&self, asked: Encoding) -> &'static str {
        match self.own_encoding() {
            Some(own) => own.name(),
            None if self.is_image() => UNKNOWN,
            None => asked.name(),
        }
    }
}

impl From<Script> for Candidate {
    fn from(script: Script) -> Self {
        Candidate { name: script.name.clone(), script: Ok(script) }
    }
}

/// Reads the scripts at these paths: files as they are, folders walked for `.js`
/// files. Each file comes once, by whatever paths it is named, under the first of them, in
/// the order of the paths and then of the names.
/// A file that is no script is a candidate all the same; a path that leads to
/// nothing is an error.
pub fn gather(paths: &[PathBuf], asked: &RunOptions) -> Result<Vec<Candidate>, ScriptError> {
    let mut seen = HashSet::new();
    let mut candidates = Vec::new();
    for path in paths {
        for file in find(path)? {
            // What leads nowhere is an error of its own, below.
            if seen.insert(fs::canonicalize(&file).unwrap_or_else(|_| file.clone())) {
                let script = Script::read(&file, asked);
                candidates.push(Candidate { name: display_name(&file), script });
            }
        }
    }
    Ok(candidates)
}

fn find(path: &Path) -> Result<Vec<PathBuf>, ScriptError> {
    let fail = |kind| ScriptError { name: display_name(path), kind };
    let about = fs::metadata(path).map_err(|error| fail(Kind::Io(error)))?;
    if !about.is_dir() {
        return Ok(vec![path.to_owned()]);
    }
    let mut files = Vec::new();
    walk(path, &mut files)?;
    if files.is_empty() {
        return Err(fail(Kind::EmptyFolder));
    }
    files.sort();
    Ok(files)
}

fn walk(folder: &Path, files: &mut Vec<PathBuf>) -> Result<(), ScriptError> {
    let fail = |error| ScriptError { name: display_name(folder), kind: Kind::Io(error) };
    for entry in fs::read_dir(folder).map_err(fail)? {
        let entry = entry.map_err(fail)?;
        let path = entry.path();
        // A link to a folder is not followed: it could lead back here.
        if entry.file_type().map_err(fail)?.is_dir() {
            walk(&path, files)?;
        } else if path.extension().is_some_and(|extension| extension == "js") && path.is_file() {
            files.push(path);
        }
    }
    Ok(())
}

/// What a script must print, if there is a file of it. One that is there and cannot be read
/// is an error: else the answer would go unchecked.
fn read_expected(script: &str, out: &Path) -> Result<Option<String>, ScriptError> {
    let is_absent = |error: &io::Error| error.kind() == io::ErrorKind::NotFound;
    if fs::symlink_metadata(out).is_err_and(|error| is_absent(&error)) {
        return Ok(None);
    }
    let file = display_name(out);
    let read = match fs::metadata(out) {
        Ok(about) if !about.is_file() && !about.is_dir() => {
            Err(ScriptError { name: file.clone(), kind: Kind::NoFile })
        }
        _ => read_text(out),
    };
    read.map(Some).map_err(|error| {
        let kind = Kind::Expected { file, error: Box::new(error) };
        ScriptError { name: script.to_owned(), kind }
    })
}

fn read_feed(script: &str, path: &Path) -> Result<Feed, ScriptError> {
    let file = display_name(path);
    let text = read_text(path).map_err(|error| ScriptError {
        name: script.to_owned(),
        kind: Kind::FeedFile { file: file.clone(), error: Box::new(error) },
    })?;
    Feed::parse(&text)
        .map_err(|error| ScriptError { name: script.to_owned(), kind: Kind::Feed { file, error } })
}

fn read_text(path: &Path) -> Result<String, ScriptError> {
    text_of(&display_name(path), read_bytes(path)?)
}

fn read_bytes(path: &Path) -> Result<Vec<u8>, ScriptError> {
    let name = display_name(path);
    if path.is_dir() {
        return Err(ScriptError { name, kind: Kind::Folder });
    }
    match File::open(path) {
        Ok(mut file) => bytes_of(&name, &mut file),
        Err(error) => Err(ScriptError { name, kind: Kind::Io(error) }),
    }
}

fn bytes_of(name: &str, stream: &mut dyn Read) -> Result<Vec<u8>, ScriptError> {
    let fail = |kind| Err(ScriptError { name: name.to_owned(), kind });
    let mut bytes = Vec::new();
    if let Err(error) = stream.take(MOST_BYTES + 1).read_to_end(&mut bytes) {
        return fail(Kind::Io(error));
    }
    if bytes.len() as u64 > MOST_BYTES {
        return fail(Kind::TooLong);
    }
    Ok(bytes)
}

fn text_of(name: &str, bytes: Vec<u8>) -> Result<String, ScriptError> {
    let fail = |kind| Err(ScriptError { name: name.to_owned(), kind });
    if let Some(offset) = bytes.iter().position(|&byte| byte == 0) {
        return fail(Kind::Binary { offset });
    }
    String::from_utf8(bytes).or_else(|error| {
        let offset = error.utf8_error().valid_up_to();
        fail(Kind::NotUtf8 { offset, byte: error.as_bytes().get(offset).copied().unwrap_or(0) })
    })
}

/// A path as a report shows it: the same on every system.
fn display_name(path: &Path) -> String {
    path.display().to_string().replace('\\', "/")
}
