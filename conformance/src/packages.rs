//! Suites and programs that others publish, brought here when a test asks for them.
//!
//! It owns the list (`packages/packages.toml`: name, version, integrity, licence) and the
//! folder that they are installed into, which lies in the target folder. Nothing of
//! them is committed, none of their install scripts runs, and none is a dependency.
//!
//! `npm ci` does the work: the list becomes a lock file whose integrity `npm` holds
//! every tarball against. A download by hand would name a host, and would have to be
//! told again what every `npm` is told by its settings: registry, proxy, certificates.
//!
//! It never takes a missing package for a passed test: without `npm` or without a
//! network the caller gets an error that says so, unless `SCRUPLE_OFFLINE` is set.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use serde::Deserialize;
use serde_json::json;

/// The list, as it is committed.
pub const LIST: &str = include_str!("../packages/packages.toml");

/// The environment variable that skips whatever needs a package.
pub const OFFLINE: &str = "SCRUPLE_OFFLINE";

/// A package of the list.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Package {
    /// Its name in the registry.
    pub name: String,
    /// The one version that is meant.
    pub version: String,
    /// The hash of its tarball, as a registry gives it: `sha512-` and base64.
    pub integrity: String,
    /// Its licence, as it says.
    pub licence: String,
    /// What it is taken for.
    pub what: String,
}

/// Why packages are not there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PackageError(String);

impl std::fmt::Display for PackageError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for PackageError {}

fn failed(path: &Path) -> impl FnOnce(io::Error) -> PackageError {
    move |error| PackageError(format!("{}: {error}", path.display()))
}

/// Reads a list. A version or a hash that does not pin a package is refused.
pub fn read_list(text: &str) -> Result<Vec<Package>, PackageError> {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct List {
        package: Vec<Package>,
    }
    let list: List = toml::from_str(text).map_err(|error| PackageError(error.to_string()))?;
    let mut names = BTreeSet::new();
    for package in &list.package {
        let Package { name, version, integrity, .. } = package;
        if !names.insert(name) {
            return Err(PackageError(format!("{name}: listed twice")));
        }
        let is_exact = version.starts_with(|c: char| c.is_ascii_digit());
        if !is_exact || version.contains(['|', ' ', 'x', '*']) {
            return Err(PackageError(format!("{name}: `{version}` is no exact version")));
        }
        // 64 bytes in base64.
        if integrity.strip_prefix("sha512-").is_none_or(|hash| hash.len() != 88) {
            return Err(PackageError(format!("{name}: `{integrity}` is no SHA-512 integrity")));
        }
    }
    Ok(list.package)
}

/// The packages of the list, installed below a folder; nothing if `SCRUPLE_OFFLINE` is
/// set. Several processes may ask at once: one installs, the others wait.
pub fn installed(target: &Path) -> Result<Option<Packages>, PackageError> {
    if std::env::var_os(OFFLINE).is_some_and(|value| !value.is_empty()) {
        return Ok(None);
    }
    install(LIST, &target.join("packages")).map(Some)
}

/// Installs the packages of a list into a folder, if they are not there.
pub fn install(list: &str, root: &Path) -> Result<Packages, PackageError> {
    let list = read_list(list)?;
    fs::create_dir_all(root).map_err(failed(root))?;
    let guard = root.join("guard");
    let file = File::create(&guard).map_err(failed(&guard))?;
    file.lock().map_err(failed(&guard))?;
    let lock = lock_file(&list);
    let done = root.join("installed.json");
    if fs::read_to_string(&done).is_ok_and(|text| text == lock) {
        return Ok(Packages { root: root.to_owned() });
    }
    let _ = fs::remove_file(&done);
    let write = |name: &str, text: &str| {
        let path = root.join(name);
        fs::write(&path, text).map_err(failed(&path))
    };
    write("package.json", &manifest(&list))?;
    write("package-lock.json", &lock)?;
    npm_ci(root)?;
    write("installed.json", &lock)?;
    Ok(Packages { root: root.to_owned() })
}

fn npm_ci(root: &Path) -> Result<(), PackageError> {
    let switches = ["--ignore-scripts", "--no-audit", "--no-fund", "--no-bin-links"];
    let output = Command::new("npm")
        .arg("ci")
        .args(switches)
        .args(["--loglevel=error", "--fetch-retries=1", "--fetch-timeout=60000"])
        .current_dir(root)
        .stdin(Stdio::null())
        .output();
    let advice = format!(
        "the packages of conformance/packages/packages.toml are installed with `npm` (Debian's package \
         npm) and need a network; {OFFLINE}=1 skips the tests that need them"
    );
    match output {
        Err(error) => Err(PackageError(format!("npm: {error}; {advice}"))),
        Ok(output) if !output.status.success() => {
            let said = String::from_utf8_lossy(&output.stderr).trim().to_owned();
            Err(PackageError(format!("npm ci failed: {said}\n{advice}")))
        }
        Ok(_) => Ok(()),
    }
}

fn manifest(list: &[Package]) -> String {
    let dependencies: BTreeMap<&str, &str> = exact(list);
    json!({ "private": true, "dependencies": dependencies }).to_string()
}

/// A lock file in `npm`'s form 3. It names no address: `npm` asks the registry that it
/// is set up for, and holds what comes against the hash.
fn lock_file(list: &[Package]) -> String {
    let mut packages = serde_json::Map::new();
    packages.insert(String::new(), json!({ "dependencies": exact(list) }));
    for Package { name, version, integrity, .. } in list {
        let entry = json!({ "version": version, "integrity": integrity });
        packages.insert(format!("node_modules/{name}"), entry);
    }
    json!({ "lockfileVersion": 3, "requires": true, "packages": packages }).to_string()
}

fn exact(list: &[Package]) -> BTreeMap<&str, &str> {
    list.iter().map(|package| (package.name.as_str(), package.version.as_str())).collect()
}

/// Installed packages.
#[derive(Clone, Debug)]
pub struct Packages {
    root: PathBuf,
}

impl Packages {
    /// The folder of a package.
    pub fn folder(&self, name: &str) -> PathBuf {
        self.root.join("node_modules").join(name)
    }

    /// The text of a file of a package.
    pub fn read(&self, name: &str, file: &str) -> Result<String, PackageError> {
        let path = self.folder(name).join(file);
        fs::read_to_string(&path).map_err(failed(&path))
    }

    /// The files of a package's folder, by name.
    pub fn files(&self, name: &str, folder: &str) -> Result<Vec<String>, PackageError> {
        let path = self.folder(name).join(folder);
        let mut files = Vec::new();
        for entry in fs::read_dir(&path).map_err(failed(&path))? {
            let entry = entry.map_err(failed(&path))?;
            if let Ok(file) = entry.file_name().into_string() {
                files.push(format!("{folder}/{file}"));
            }
        }
        files.sort_unstable();
        Ok(files)
    }
}
