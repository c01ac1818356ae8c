//! Every kernel under every encoding, eight of them with plain Rust as the floor.
//!
//! Each kernel is one group: the sample script compiled for each encoding and run
//! with counting switched on, and `rust`, the same problem of the same size as in
//! [`floor`], where there is one. Compiling is not part of the time: `compile` measures that.
//!
//! Criterion samples one routine after the other, so a busy minute hits some of them. The
//! ratios to `word` at the end are therefore of runs of their own, by turns: each round
//! runs every encoding once, and of some rounds the best counts.
//!
//! It refuses to measure a wrong answer: whatever does not print what the sample's
//! `.out` file says, the published answer in it, is told and left out, and the
//! bench then ends with an error.
//!
//!     cargo bench -p scruple-bench --bench kernels
//!     cargo bench -p scruple-bench --bench kernels -- nbody

mod common;
mod floor;

use std::process::ExitCode;
use std::time::Duration;

use criterion::Criterion;
use criterion::measurement::WallTime;
use scruple_bytecode::Encoding;

use common::clock::Best;
use common::machine::Region;

/// A kernel.
struct Kernel {
    name: &'static str,
    /// The sample script.
    script: &'static str,
    /// What it prints.
    expected: &'static str,
    /// The published answer: a part of what it prints.
    published: Option<&'static str>,
    /// The same in Rust.
    floor: Option<fn() -> String>,
}

/// Rounds of the ratios.
const ROUNDS: u32 = 7;

/// Puts a kernel together: script and output are the sample's files, read when the
/// bench is built.
macro_rules! kernel {
    ($name:ident, $published:expr) => {
        Kernel { published: Some($published), floor: Some(floor::$name::run), ..kernel!($name) }
    };
    ($name:ident) => {
        Kernel {
            name: stringify!($name),
            script: include_str!(concat!("../../samples/kernels/", stringify!($name), ".js")),
            expected: include_str!(concat!("../../samples/kernels/", stringify!($name), ".out")),
            published: None,
            floor: None,
        }
    };
}

/// The kernels. Published answers of those that have a floor are told in full here, so that
/// an edit of a sample's `.out` file cannot make a wrong answer right; the others' are in
/// their samples' headers.
const KERNELS: [Kernel; 20] = [
    // FIPS 180-4, the message "abc".
    kernel!(sha256, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad\n"),
    // The usual check value of the message "123456789".
    kernel!(crc32, "check cbf43926 cbf43926\n"),
    // RFC 4648, section 10.
    kernel!(base64, "\"foobar\" \"Zm9vYmFy\" \"foobar\"\n"),
    // The Computer Language Benchmarks Game, here and where no source is named.
    kernel!(nbody, "-0.169075164\n-0.169087605\n"),
    kernel!(spectral_norm, "1.183350177\n1.274219991\n"),
    kernel!(fannkuch, "228\nPfannkuchen(7) = 16\n"),
    // OEIS A000170.
    kernel!(queens, "8 92\n"),
    kernel!(mandelbrot, "cc65e64bd553ed18896de1dfe7fae3e5\n"),
    kernel!(binary_trees),
    kernel!(chacha20),
    kernel!(closures),
    kernel!(fib),
    kernel!(json_records),
    kernel!(md5),
    kernel!(mt19937),
    kernel!(partitions),
    kernel!(primes),
    kernel!(sort_heap),
    kernel!(string_build),
    kernel!(tak),
];

/// The best times of a kernel.
struct Row {
    name: &'static str,
    /// One for each encoding, in the order of `Encoding::ALL`.
    encodings: Vec<Best>,
    floor: Best,
    /// The same of rounds by turns; nothing where an encoding gave no right answer.
    turns: Option<Vec<Best>>,
}

impl Kernel {
    /// Refuses output that is not the kernel's answer.
    fn check(&self, printed: &str) -> Result<(), String> {
        if printed != self.expected {
            return Err(format!("printed {printed:?}, not {:?}", self.expected));
        }
        if self.published.is_some_and(|published| !printed.contains(published)) {
            return Err(format!("printed {printed:?}, without {:?}", self.published));
        }
        Ok(())
    }

    /// The image for an encoding, once a run of it has given the right answer.
    fn checked_image(&self, encoding: Encoding, region: &mut Region) -> Result<Vec<u8>, String> {
        let options = scruple_compiler::Options { encoding, ..Default::default() };
        let compiled = scruple_compiler::compile(self.script, &options)
            .map_err(|diagnostics| diagnostics.first().message().to_owned())?;
        let run = region.run(&compiled.image)?;
        self.check(&run.printed)?;
        Ok(compiled.image)
    }

    /// Measures what gives the right answer; the other faults are noted.
    fn measure(&self, criterion: &mut Criterion<WallTime>, faults: &mut Vec<String>) -> Row {
        let mut region: Region = Region::new();
        let mut group = criterion.benchmark_group(self.name);
        let mut encodings = vec![Best::default(); Encoding::ALL.len()];
        let mut images = Vec::new();
        for (&encoding, best) in Encoding::ALL.iter().zip(&mut encodings) {
            match self.checked_image(encoding, &mut region) {
                Ok(image) => {
                    group.bench_function(encoding.name(), |bencher| {
                        best.sample(bencher, || region.run(&image));
                    });
                    images.push(image);
                }
                Err(fault) => faults.push(format!("{} {}: {fault}", self.name, encoding.name())),
            }
        }
        let mut floor = Best::default();
        match self.floor.map(|run| (run, self.check(&run()))) {
            Some((run, Ok(()))) => {
                group.bench_function("rust", |bencher| floor.sample(bencher, run));
            }
            Some((_, Err(fault))) => faults.push(format!("{} rust: {fault}", self.name)),
            None => {}
        }
        group.finish();
        // What a filter leaves out of criterion's samples is left out here.
        let is_asked =
            common::is_measuring() && encodings.iter().any(|one| one.seconds().is_some());
        let is_whole = is_asked && images.len() == Encoding::ALL.len();
        let turns = is_whole.then(|| by_turns(&images, &mut region));
        Row { name: self.name, encodings, floor, turns }
    }
}

/// Runs each image once a round.
fn by_turns(images: &[Vec<u8>], region: &mut Region) -> Vec<Best> {
    let mut best = vec![Best::default(); images.len()];
    for _ in 0..ROUNDS {
        for (best, image) in best.iter_mut().zip(images) {
            best.time(|| region.run(image));
        }
    }
    best
}

/// Prints each encoding's time of `word`'s, kernel by kernel and in the geometric mean.
fn print_ratios(rows: &[Row]) {
    println!("\nOf `word`, best of {ROUNDS} rounds by turns. Noisy, and no word about a board.");
    print!("{:<14}", "kernel");
    for encoding in Encoding::ALL {
        print!("{:>10}", encoding.name());
    }
    println!();
    let mut logarithms = vec![Vec::new(); Encoding::ALL.len()];
    for row in rows {
        let Some(turns) = &row.turns else { continue };
        let word = Encoding::ALL.iter().position(|&encoding| encoding == Encoding::Word);
        let Some(word) = word.and_then(|index| turns[index].seconds()) else { continue };
        print!("{:<14}", row.name);
        for (best, logarithms) in turns.iter().zip(&mut logarithms) {
            let ratio = best.seconds().map_or(f64::NAN, |own| own / word);
            logarithms.push(ratio.ln());
            print!("{ratio:>10.3}");
        }
        println!();
    }
    print!("{:<14}", "geometric mean");
    for logarithms in &logarithms {
        let mean = logarithms.iter().sum::<f64>() / logarithms.len() as f64;
        print!("{:>10.3}", mean.exp());
    }
    println!();
}

/// Prints the best times side by side.
fn print_table(rows: &[Row]) {
    println!("Best time of a run, in ms. Times are noisy: read the spreads above with them.");
    print!("{:<14}", "kernel");
    for encoding in Encoding::ALL {
        print!("{:>10}", encoding.name());
    }
    println!("{:>10}{:>15}", "rust", "best/rust");
    let is_measured = |row: &&Row| {
        row.floor.seconds().or(row.encodings.iter().find_map(|best| best.seconds())).is_some()
    };
    for row in rows.iter().filter(is_measured) {
        print!("{:<14}", row.name);
        for best in &row.encodings {
            print!("{:>10}", best.cell());
        }
        let fastest = row.encodings.iter().filter_map(|best| best.seconds()).reduce(f64::min);
        let ratio = match (fastest, row.floor.seconds()) {
            (Some(fastest), Some(floor)) if floor > 0.0 => format!("{:.1}", fastest / floor),
            _ => "-".to_owned(),
        };
        println!("{:>10}{ratio:>15}", row.floor.cell());
    }
}

fn main() -> ExitCode {
    // Ten samples are the fewest that criterion takes. A run of the slowest kernel
    // is a good part of a second, and there are 150 routines to get through.
    let mut criterion = Criterion::default()
        .sample_size(10)
        .warm_up_time(Duration::from_millis(500))
        .measurement_time(Duration::from_secs(2))
        .configure_from_args();
    let mut faults = Vec::new();
    let rows: Vec<Row> =
        KERNELS.iter().map(|kernel| kernel.measure(&mut criterion, &mut faults)).collect();
    criterion.final_summary();
    if common::is_measuring() {
        print_table(&rows);
        print_ratios(&rows);
    }
    for fault in &faults {
        eprintln!("error: not measured: {fault}");
    }
    if faults.is_empty() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
