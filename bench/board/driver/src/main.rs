//! `board-parity`: scripts on the emulated board, held against the host.
//!
//! It owns the arguments and the lines that are printed. The exit status is 1 if
//! a figure or an output differs; a script that the board has no room for is
//! told, and is no failure.

use std::fs;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result};
use clap::Parser;
use scruple_bench::build::on_large_stack;
use scruple_bench::options::RunOptions;
use scruple_bench::script::Script;
use scruple_board_driver::firmware::{Build, Firmware};
use scruple_board_driver::parity::{Compared, Means, Verdict, compare};
use scruple_board_driver::parts::Parts;
use scruple_bytecode::Encoding;

/// Runs scripts on the emulated board and holds every figure against the host's.
#[derive(Parser)]
struct Args {
    /// The scripts.
    scripts: Vec<PathBuf>,
    /// The board: a row of boards.txt.
    #[arg(long, default_value = "lm3s6965evb")]
    board: String,
    /// Bytes of RAM for the program's own stack.
    #[arg(long, default_value_t = 4096)]
    stack: u32,
    /// Features of the firmware, separated by commas.
    #[arg(long, default_value = "")]
    features: String,
    /// Encodings, separated by commas.
    #[arg(long, default_value = "implied", value_delimiter = ',')]
    encoding: Vec<String>,
    /// Compile the scripts on the board.
    #[arg(long)]
    on_board: bool,
    /// How deep built-ins and scripts may call one another.
    #[arg(long, default_value_t = 8)]
    nesting: u16,
    /// How deep a source may nest when it is compiled on the board.
    #[arg(long, default_value_t = 32)]
    max_nesting: u32,
    /// Look for the live peak too, if that takes no more collections than this.
    #[arg(long, default_value_t = 20_000)]
    live: u64,
    /// The firmware's folder.
    #[arg(long, default_value = "bench/board")]
    folder: PathBuf,
    /// Show the flash bytes by part.
    #[arg(long)]
    parts: bool,
    /// Show the board's whole row.
    #[arg(long, short)]
    verbose: bool,
}

fn main() -> Result<()> {
    let args = Args::parse();
    let alike = on_large_stack(|| drive(&args))??;
    std::process::exit(if alike { 0 } else { 1 });
}

fn drive(args: &Args) -> Result<bool> {
    let build = Build {
        board: args.board.clone(),
        stack: args.stack,
        features: args.features.clone(),
    };
    let firmware = Firmware::build(&args.folder, &build)?;
    if args.parts {
        show_parts(&firmware.elf)?;
    }
    let scratch = std::env::temp_dir().join(format!("scruple-parcel-{}", std::process::id()));
    let mut alike = true;
    for path in &args.scripts {
        let script = Script::read(path, &RunOptions::default())?;
        let feed = feed_of(path, &script)?;
        let timers = ["setTimeout", "setInterval"].iter().any(|name| script.text.contains(name));
        let means = Means {
            feed: &feed,
            n_timers: if timers { 8 } else { 0 },
            nesting_limit: args.nesting,
            max_nesting: args.max_nesting,
            on_board: args.on_board,
            most_collections: args.live,
        };
        for name in &args.encoding {
            let encoding = Encoding::from_name(name).with_context(|| format!("no encoding {name}"))?;
            let compared = compare(&firmware, &script, encoding, means, &scratch)?;
            alike &= show(path, name, &compared, args.verbose);
        }
    }
    // A scratch file that is gone already is as good.
    let _ = fs::remove_file(&scratch);
    Ok(alike)
}

fn feed_of(path: &Path, script: &Script) -> Result<String> {
    match &script.options.feed {
        Some(feed) => Ok(fs::read_to_string(path.with_file_name(feed))?),
        None => Ok(String::new()),
    }
}

fn show(path: &Path, encoding: &str, compared: &Compared, verbose: bool) -> bool {
    let Compared { host, board, verdict } = compared;
    let name = path.display();
    let per = board.board_instructions() as f64 / board.instructions.max(1) as f64;
    let figures = format!(
        "{} instructions, {} board instructions ({per:.1} each), RAM {}",
        board.instructions,
        board.board_instructions(),
        board.ram_with_compiler()
    );
    let alike = match verdict {
        Verdict::Agrees => {
            println!("agrees   {name} {encoding}: {figures}");
            true
        }
        Verdict::AgreesWithoutLive => {
            println!("agrees*  {name} {encoding}: {figures} (live peak not compared)");
            true
        }
        Verdict::Ended(end) => {
            println!("no room  {name} {encoding}: {end}; the host's peak is {}", host.heap_high_water.total);
            true
        }
        Verdict::Printed => {
            println!("DIFFERS  {name} {encoding}: output");
            false
        }
        Verdict::Differs(differences) => {
            println!("DIFFERS  {name} {encoding}: {differences:?} (name, host, board)");
            false
        }
    };
    if verbose {
        println!("{}", serde_json::to_string_pretty(board).unwrap_or_default());
    }
    alike
}

fn show_parts(elf: &Path) -> Result<()> {
    let parts = Parts::of(elf)?;
    for (name, bytes) in &parts.parts {
        println!("{bytes:>8}  {name}");
    }
    println!("{:>8}  flash in all", parts.total);
    Ok(())
}
