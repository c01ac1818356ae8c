//! Writing a file so that whoever had the old one never has half of the new one, and
//! one wording of what a system says of files.
//!
//! It owns the way: the new file is written beside the old one and then takes its name,
//! so that a disk that fills up, or a process that is ended, leaves what was there. What
//! is no regular file, such as a pipe or `/dev/stdout`, has no name to take: it is
//! written straight. It refuses to ask whether a file may be written over.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// How many links are followed before they are taken for a circle.
const MOST_LINKS: usize = 40;

/// What is wrong with a file, in the same words wherever one is wanted.
pub fn reason(error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::NotFound => "no such file or folder".to_owned(),
        _ => error.to_string(),
    }
}

/// Writes a file. A link is followed: what it leads to is made or replaced, with the
/// permissions it had.
pub fn write(path: &Path, bytes: &[u8]) -> io::Result<()> {
    if is_straight(path) {
        return File::options().append(true).open(path)?.write_all(bytes);
    }
    let path = behind_links(path)?;
    let old = match fs::metadata(&path) {
        Ok(about) if about.is_dir() => {
            return Err(io::Error::new(
                io::ErrorKind::IsADirectory,
                "a folder, where a file is wanted",
            ));
        }
        Ok(about) => Some(about),
        Err(error) if error.kind() == io::ErrorKind::NotFound => None,
        Err(error) => return Err(error),
    };
    // Not the old name with something behind it: that could be too long for a name.
    let beside = path.with_file_name(format!(".scruple-{}.new", std::process::id()));
    let write = || {
        let mut file = File::create_new(&beside)?;
        file.write_all(bytes)?;
        if let Some(old) = &old {
            file.set_permissions(old.permissions())?;
        }
        file.sync_all()?;
        fs::rename(&beside, &path)
    };
    let written = write();
    if written.is_err() {
        // What is half written is of no use to anyone.
        let _ = fs::remove_file(&beside);
    }
    written
}

/// Whether there is nothing to replace: no regular file, or a stream of this process,
/// which may lead to one that is being written.
fn is_straight(path: &Path) -> bool {
    let is_stream = ["/dev", "/proc"].iter().any(|folder| path.starts_with(folder));
    fs::metadata(path).is_ok_and(|about| !about.is_dir() && (is_stream || !about.is_file()))
}

/// Where a path leads, whether or not there is anything yet.
fn behind_links(path: &Path) -> io::Result<PathBuf> {
    let mut path = path.to_owned();
    for _ in 0..MOST_LINKS {
        match fs::symlink_metadata(&path) {
            Ok(about) if about.is_symlink() => {
                let to = fs::read_link(&path)?;
                path = path.parent().unwrap_or(Path::new("")).join(to);
            }
            _ => return Ok(path),
        }
    }
    Err(io::Error::other("links that lead in a circle"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn folder(name: &str) -> PathBuf {
        let path =
            std::env::temp_dir().join(format!("scruple-files-{name}-{}", std::process::id()));
        let _ = fs::remove_dir_all(&path);
        fs::create_dir_all(&path).unwrap();
        path
    }

    fn names(folder: &Path) -> Vec<String> {
        let entries = fs::read_dir(folder).unwrap();
        let mut names: Vec<String> =
            entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    #[test]
    fn a_file_is_made_and_replaced_and_nothing_is_left_beside_it() {
        let folder = folder("replaced");
        let file = folder.join("a");
        for text in [&b"one"[..], b"two, longer", b""] {
            write(&file, text).unwrap();
            assert_eq!(fs::read(&file).unwrap(), text);
            assert_eq!(names(&folder), ["a"]);
        }
        let _ = fs::remove_dir_all(folder);
    }

    #[test]
    fn a_folder_is_refused_and_left_as_it_is() {
        let folder = folder("folder");
        fs::create_dir(folder.join("inner")).unwrap();
        assert!(write(&folder.join("inner"), b"text").is_err());
        assert!(write(&folder.join("none/a"), b"text").is_err());
        assert_eq!(names(&folder), ["inner"]);
        let _ = fs::remove_dir_all(folder);
    }

    #[cfg(unix)]
    #[test]
    fn a_link_stays_a_link_and_permissions_stay() {
        use std::os::unix::fs::{PermissionsExt, symlink};
        let folder = folder("link");
        let (link, file) = (folder.join("link"), folder.join("file"));
        symlink("file", &link).unwrap();
        write(&link, b"new").unwrap();
        fs::set_permissions(&file, fs::Permissions::from_mode(0o640)).unwrap();
        write(&link, b"newer").unwrap();
        assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
        assert_eq!(fs::read(&file).unwrap(), b"newer");
        assert_eq!(fs::metadata(&file).unwrap().permissions().mode() & 0o777, 0o640);
        assert_eq!(names(&folder), ["file", "link"]);
        write(Path::new("/dev/null"), b"nothing").unwrap();
        let _ = fs::remove_dir_all(folder);
    }
}
