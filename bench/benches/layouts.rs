//! The kernels over both layouts of the heap, in one run: what packing values and
//! references into half the bits costs, and what it saves.
//!
//! Instructions carried out are the same by design, and a run that differs is
//! refused: what is left is the time an instruction takes. `wide` packs nothing and
//! boxes no number, but moves twice the bytes.
//!
//!     cargo bench -p scruple-bench --bench layouts
//!     cargo bench -p scruple-bench --bench layouts -- fib

mod common;

use std::process::ExitCode;
use std::time::Duration;

use criterion::Criterion;
use criterion::measurement::WallTime;
use scruple_bytecode::Encoding;
use scruple_vm::{Layout, Narrow, Wide};

use common::clock::Best;
use common::machine::{Region, Run};

/// A kernel: name, script, and what it prints.
type Kernel = (&'static str, &'static str, &'static str);

macro_rules! kernels {
    ($($name:literal),*) => {
        &[$((
            $name,
            include_str!(concat!("../../samples/kernels/", $name, ".js")),
            include_str!(concat!("../../samples/kernels/", $name, ".out")),
        )),*]
    };
}

/// Integers alone, doubles, strings, and many small objects.
const KERNELS: &[Kernel] = kernels!(
    "fib",
    "crc32",
    "sha256",
    "primes",
    "queens",
    "nbody",
    "spectral_norm",
    "mandelbrot",
    "binary_trees",
    "sort_heap",
    "string_build",
    "json_records"
);

/// The best times of a kernel.
struct Row {
    name: &'static str,
    instructions: u64,
    narrow: Best,
    wide: Best,
}

fn checked<L: Layout>(
    kernel: &Kernel,
    image: &[u8],
    region: &mut Region<L>,
) -> Result<Run, String> {
    let run = region.run(image)?;
    if run.printed != kernel.2 {
        return Err(format!("printed {:?} over {}", run.printed, L::NAME));
    }
    Ok(run)
}

fn measure(criterion: &mut Criterion<WallTime>, kernel: &Kernel) -> Result<Row, String> {
    let options = scruple_compiler::Options { encoding: Encoding::Implied, ..Default::default() };
    let image = scruple_compiler::compile(kernel.1, &options)
        .map_err(|wrong| wrong.first().message().to_owned())?
        .image;
    let (mut small, mut large) = (Region::<Narrow>::new(), Region::<Wide>::new());
    let narrow = checked(kernel, &image, &mut small)?;
    let wide = checked(kernel, &image, &mut large)?;
    if (narrow.instructions, narrow.fetched_bytes) != (wide.instructions, wide.fetched_bytes) {
        return Err("the layouts do not carry out the same instructions".to_owned());
    }
    let instructions = narrow.instructions;
    let mut row =
        Row { name: kernel.0, instructions, narrow: Best::default(), wide: Best::default() };
    let mut group = criterion.benchmark_group(kernel.0);
    group.bench_function(Narrow::NAME, |bencher| {
        row.narrow.sample(bencher, || small.run(&image));
    });
    group.bench_function(Wide::NAME, |bencher| {
        row.wide.sample(bencher, || large.run(&image));
    });
    group.finish();
    Ok(row)
}

/// Whether a kernel is asked for: those that no filter names are not even checked, so
/// that a run of one kernel can be counted from outside.
fn is_asked(name: &str) -> bool {
    let filters: Vec<String> =
        std::env::args().skip(1).filter(|argument| !argument.starts_with('-')).collect();
    filters.is_empty() || filters.iter().any(|filter| filter.starts_with(name))
}

fn print_table(rows: &[Row]) {
    println!("Best time of a run, in ms. Times are noisy: read the spreads above with them.");
    println!(
        "{:<14}{:>14}{:>10}{:>10}{:>14}",
        "kernel", "instructions", "narrow", "wide", "narrow/wide"
    );
    let mut logarithms = Vec::new();
    for row in rows {
        let (Some(narrow), Some(wide)) = (row.narrow.seconds(), row.wide.seconds()) else {
            continue;
        };
        logarithms.push((narrow / wide).ln());
        println!(
            "{:<14}{:>14}{:>10}{:>10}{:>14.2}",
            row.name,
            row.instructions,
            row.narrow.cell(),
            row.wide.cell(),
            narrow / wide
        );
    }
    if !logarithms.is_empty() {
        let mean = (logarithms.iter().sum::<f64>() / logarithms.len() as f64).exp();
        println!("{:<48}{mean:>14.2}", "geometric mean");
    }
}

fn main() -> ExitCode {
    // Ten samples are the fewest that criterion takes.
    let mut criterion = Criterion::default()
        .sample_size(10)
        .warm_up_time(Duration::from_millis(300))
        .measurement_time(Duration::from_secs(1))
        .configure_from_args();
    let (mut rows, mut faults) = (Vec::new(), Vec::new());
    for kernel in KERNELS.iter().filter(|kernel| is_asked(kernel.0)) {
        match measure(&mut criterion, kernel) {
            Ok(row) => rows.push(row),
            Err(fault) => faults.push(format!("{}: {fault}", kernel.0)),
        }
    }
    criterion.final_summary();
    if common::is_measuring() {
        print_table(&rows);
    }
    for fault in &faults {
        eprintln!("error: not measured: {fault}");
    }
    if faults.is_empty() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
