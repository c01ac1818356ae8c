//! Writes what the fuzzer begins with: the samples and the cases as sources, and
//! their images under every encoding, without line tables for half of them.
//!
//!     cargo run --bin seeds       in this folder

use std::fs;
use std::path::{Path, PathBuf};

use scruple_bytecode::Encoding;
use scruple_fuzz::sets;

/// Images longer than this would be most of what the fuzzer reads and changes.
const MOST_BYTES: usize = 2048;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut sources = Vec::new();
    for folder in ["../../samples/kernels", "../../samples/marrow-brook"] {
        for file in files(&here.join(folder), "js")? {
            sources.push(fs::read_to_string(file)?);
        }
    }
    for file in files(&here.join("../cases"), "toml")? {
        let table: toml::Table = toml::from_str(&fs::read_to_string(file)?)?;
        collect_sources(&toml::Value::Table(table), &mut sources);
    }
    for target in ["image", "compile"] {
        fs::create_dir_all(here.join("corpus").join(target))?;
    }
    let (mut n_images, mut n_sources) = (0, 0);
    for (number, source) in sources.iter().enumerate() {
        if source.len() <= 2 * MOST_BYTES {
            fs::write(here.join(format!("corpus/compile/seed-{number}")), source)?;
            n_sources += 1;
        }
        for (at, &encoding) in Encoding::ALL.iter().enumerate() {
            let lines = (number + at).is_multiple_of(2);
            let options = scruple_compiler::Options { encoding, lines, ..Default::default() };
            let Ok(compiled) =
                scruple_compiler::compile_with(source, &options, sets::of_seeds(encoding))
            else {
                continue;
            };
            if compiled.image.len() <= MOST_BYTES {
                let name = format!("corpus/image/seed-{number}-{}", encoding.name());
                fs::write(here.join(name), compiled.image)?;
                n_images += 1;
            }
        }
    }
    println!("{n_images} images, {n_sources} sources");
    Ok(())
}

fn files(folder: &Path, extension: &str) -> std::io::Result<Vec<PathBuf>> {
    let mut found: Vec<PathBuf> = fs::read_dir(folder)?
        .filter_map(|entry| entry.ok().map(|entry| entry.path()))
        .filter(|path| path.extension().is_some_and(|end| end == extension))
        .collect();
    found.sort();
    Ok(found)
}

/// Every string called `source`, however deep it lies.
fn collect_sources(value: &toml::Value, sources: &mut Vec<String>) {
    match value {
        toml::Value::Table(table) => {
            for (key, value) in table {
                match value {
                    toml::Value::String(text) if key == "source" => sources.push(text.clone()),
                    value => collect_sources(value, sources),
                }
            }
        }
        toml::Value::Array(list) => list.iter().for_each(|value| collect_sources(value, sources)),
        _ => {}
    }
}
