//! What the command line takes: the definitions that parsing and `--help` come
//! from, and nothing that acts on them.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};
use scruple_bench::emulated::boards;
use scruple_bench::layout::HeapLayout;
use scruple_bench::options::{REGION, RunOptions};
use scruple_bench::report::Format;
use scruple_bench::shard::Shard;
use scruple_bench::timers::LONGEST;
use scruple_bytecode::Encoding;

use super::args_corpus::{
    Baseline, CompareArguments, ComposeArguments, MergeArguments, OperationsArguments,
    SweepArguments,
};
use super::args_step::StepArguments;

const EXAMPLES: &str = "\
Examples:
  scruple run hello.js                        compile and run a script
  scruple pack hello.js -o hello.img          write the image, which run and weigh take too
  scruple weigh samples                       weigh every script of a folder
  scruple weigh app.js --encoding byte,leb    ... under two encodings
  scruple fit app.js --board board.toml       the least RAM it runs in, and whether a board has it
  scruple memory app.js                       where the bytes of its heap are
  scruple board app.js                        on an emulated board: its instructions, all RAM, flash
  scruple sweep samples                       every encoding and layout side by side, with bounds
  scruple compose samples -o mined.set        an instruction set mined from scripts
  scruple compare before.json after.json      two saved documents of weigh, or of sweep
  scruple operations app.js                   which operations stand in it, and are carried out
  scruple listing app.js --function main      the instructions of a function
  scruple trace app.js --from 1000 --count 20 what instructions 1000 to 1019 did
  scruple step app.js                         step through it, forward and back
  scruple weigh samples --format html > page.html
                                              a page for a browser, with every figure

Exit codes: 0 fine; 1 an error, a failed script, a wrong answer; 2 usage; 3 it does not fit, or exceeds a limit.";

/// A bench for a tiny script engine: compiles a script in one pass, runs it over a
/// heap that counts every byte, and says how many bytes, how much RAM, how many
/// instructions.
#[derive(Debug, Parser)]
#[command(name = "scruple", version, after_help = EXAMPLES, propagate_version = true)]
pub(crate) struct Arguments {
    /// When to colour; NO_COLOR in the environment turns `auto` off
    #[arg(long, value_enum, default_value = "auto", global = true)]
    pub(crate) color: Color,
    #[command(subcommand)]
    pub(crate) command: Command,
}

/// When to colour.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub(crate) enum Color {
    /// On a terminal
    Auto,
    /// Always
    Always,
    /// Never
    Never,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Compile a script and run it
    Run(RunArguments),
    /// Compile a script and write its image
    Pack(PackArguments),
    /// Weigh scripts: image, heap, stack, compiler, instructions
    Weigh(WeighArguments),
    /// Find the least RAM that scripts run in, and whether a board has it
    Fit(FitArguments),
    /// Show where the bytes of a script's heap are, over time and at the peak
    Memory(MemoryArguments),
    /// Run scripts on an emulated board, and hold every figure against the host's
    Board(BoardArguments),
    /// Set every encoding and layout side by side over a corpus, with the bounds
    Sweep(SweepArguments),
    /// Mine an instruction set from scripts, and tell what it is worth on others
    Compose(ComposeArguments),
    /// Compare two saved documents of weigh, or of sweep
    Compare(CompareArguments),
    /// Put the documents of slices together
    Merge(MergeArguments),
    /// Show the table of operations, and how often scripts use each
    Operations(OperationsArguments),
    /// Show the instructions of a script
    Listing(ListingArguments),
    /// Show what instructions took from the stack and left there
    Trace(TraceArguments),
    /// Step through a script, forward and back
    Step(StepArguments),
    /// Write what a shell completes this command line from
    Completions(CompletionsArguments),
    /// Write the manual, a page a command
    Manual(ManualArguments),
}

const COMPLETIONS_EXAMPLES: &str = "\
Examples:
  scruple completions bash > ~/.local/share/bash-completion/completions/scruple
  scruple completions zsh > ~/.zfunc/_scruple
  scruple completions fish > ~/.config/fish/completions/scruple.fish";

#[derive(Debug, Args)]
#[command(after_help = COMPLETIONS_EXAMPLES)]
pub(crate) struct CompletionsArguments {
    /// The shell
    #[arg(value_enum)]
    pub(crate) shell: clap_complete::Shell,
}

const MANUAL_EXAMPLES: &str = "\
Examples:
  scruple manual | man -l -
  scruple manual compose | man -l -
  scruple manual --folder ~/.local/share/man/man1";

#[derive(Debug, Args)]
#[command(after_help = MANUAL_EXAMPLES)]
pub(crate) struct ManualArguments {
    /// The command whose page goes to standard output; that of `scruple` itself unless given
    #[arg(conflicts_with = "folder")]
    pub(crate) page: Option<String>,
    /// A folder to write every page into
    #[arg(long, value_name = "FOLDER")]
    pub(crate) folder: Option<PathBuf>,
}

const RUN_EXAMPLES: &str = "\
Examples:
  scruple run samples/kernels/fib.js
  scruple run control.js --feed tide.csv --until 7200000
  echo 'console.log(6 * 7)' | scruple run -
  scruple run hello.img

A comment line above the first statement, such as `// scruple: --until 5000 --feed a.csv`, gives
options of its own; those of the command line go before them. An image (see pack) has no comments:
its options are those of the command line. The clock is virtual: the run does not wait.";

#[derive(Debug, Args)]
#[command(after_help = RUN_EXAMPLES)]
pub(crate) struct RunArguments {
    /// The script or image, or - for standard input
    pub(crate) script: PathBuf,
    #[command(flatten)]
    pub(crate) encoding: OneEncoding,
    #[command(flatten)]
    pub(crate) set: OneSet,
    #[command(flatten)]
    pub(crate) options: Limits,
}

const PACK_EXAMPLES: &str = "\
Examples:
  scruple pack hello.js -o hello.img
  scruple pack hello.js -o hello.img --strip --encoding leb
  scruple pack hello.js -o - | scruple run -

run, weigh, fit, memory, board, listing, trace and step take an image where they take a script: they
know it by its first four bytes. It is executed where it lies, and a damaged one is refused with the
offset.";

#[derive(Debug, Args)]
#[command(after_help = PACK_EXAMPLES)]
pub(crate) struct PackArguments {
    /// The script, or - for standard input
    pub(crate) script: PathBuf,
    /// The file to write, or - for standard output
    #[arg(short, long, value_name = "FILE")]
    pub(crate) output: PathBuf,
    #[command(flatten)]
    pub(crate) encoding: OneEncoding,
    #[command(flatten)]
    pub(crate) set: OneSet,
    /// Leave the line table out: errors then have no line
    #[arg(long)]
    pub(crate) strip: bool,
}

const WEIGH_EXAMPLES: &str = r#"Examples:
  scruple weigh samples
  scruple weigh samples --format json > weights.json
  scruple weigh samples --format html > weights.html
  scruple weigh samples/kernels -v --encoding implied
  scruple weigh samples --layout narrow,wide
  scruple weigh samples --limits limits.toml --tighten
  scruple weigh samples --format json --shard 1/4 > slice-1.json
  scruple weigh samples --baseline main.json --allow 0.5 --save main.json

A script is weighed only if its answer is right: NAME.out beside NAME.js holds what it must print.
Without such a file it is weighed and marked with a question mark. An image has one row, under its
own encoding, and no compile peak.

A file of limits is TOML. Names of figures are those of --format csv:

  [[script]]
  name = "samples/kernels/fib.js"     # as the report names it
  encoding = "implied"                # [default: every one that is measured]
  layout = "narrow"                   # [default: narrow]
  [script.limits]
  image_bytes = 420
  heap_high_water_bytes = { most = 800, reason = "a second queue" }
  instructions = { was = 238962, percent = 0.5 }         # half a per cent more at most
  instruction_bytes = { of = "byte", percent = 60 }      # of the same under another encoding

With it the exit code is 3 if a limit is exceeded, or if what it needs was not measured. That is
decided before --tighten and --loosen rewrite the file. So it is with a baseline, a document that
was saved: the exit code is 3 if a figure is larger than there by more than is allowed, or if a row
of it has no figure now; --save comes after the verdict, and not if a script failed. Where both name
one file it is not replaced by what does not hold: --save without --baseline accepts that."#;

#[derive(Debug, Args)]
#[command(after_help = WEIGH_EXAMPLES)]
pub(crate) struct WeighArguments {
    /// Scripts and images, or folders whose .js files are taken
    #[arg(required = true)]
    pub(crate) paths: Vec<PathBuf>,
    /// Encodings, separated by commas; all unless given
    #[arg(long, value_name = "ENCODING", value_delimiter = ',', value_parser = encoding())]
    pub(crate) encoding: Vec<Encoding>,
    #[command(flatten)]
    pub(crate) set: OneSet,
    #[command(flatten)]
    pub(crate) layouts: Layouts,
    /// The form of the report
    #[arg(long, default_value = "text", value_parser = format_of(Format::OF_WEIGH))]
    pub(crate) format: Format,
    /// A file of limits to hold the figures against (`--budget` is about operations of a run)
    #[arg(long, value_name = "TOML")]
    pub(crate) limits: Option<PathBuf>,
    /// Lower the limits in that file to what was measured
    #[arg(long, requires = "limits")]
    pub(crate) tighten: bool,
    /// Raise the limits that were exceeded to what was measured
    #[arg(long, requires_all = ["limits", "reason"])]
    pub(crate) loosen: bool,
    /// Why limits are raised: it is written beside each
    #[arg(long, value_name = "TEXT", requires = "loosen", value_parser = reason)]
    pub(crate) reason: Option<String>,
    /// Measure one slice of the scripts, for `merge`
    #[arg(long, value_name = "I/N", conflicts_with = "limits")]
    pub(crate) shard: Option<Shard>,
    #[command(flatten)]
    pub(crate) baseline: Baseline,
    /// Show the categories of both peaks, the ten largest sites of the high-water mark (two runs
    /// more a row), and what the columns mean
    #[arg(short, long)]
    pub(crate) verbose: bool,
    #[command(flatten)]
    pub(crate) options: Limits,
}

const FIT_EXAMPLES: &str = "\
Examples:
  scruple fit samples/marrow-brook
  scruple fit app.js --board board.toml --encoding leb --layout narrow,wide
  scruple fit app.img --feed tide.csv --until 7200000

The region of heap and stack is made smaller until the script no longer runs: what is told is exact
to a cell, for these inputs only. Leave headroom for others. A board file is TOML, in bytes:

  flash = 131072        # what the board has
  ram = 8192
  host_flash = 60000    # what the program around takes [default: 0]
  host_ram = 2048
  headroom = 10         # per cent of flash and of RAM to stay free [default: 0]

With a board the exit code is 3 if a script does not fit or could not be measured.";

#[derive(Debug, Args)]
#[command(after_help = FIT_EXAMPLES)]
pub(crate) struct FitArguments {
    /// Scripts and images, or folders whose .js files are taken
    #[arg(required = true)]
    pub(crate) paths: Vec<PathBuf>,
    #[command(flatten)]
    pub(crate) encoding: OneEncoding,
    #[command(flatten)]
    pub(crate) set: OneSet,
    #[command(flatten)]
    pub(crate) layouts: Layouts,
    /// A board to hold them against
    #[arg(long, value_name = "TOML")]
    pub(crate) board: Option<PathBuf>,
    /// The form of the report
    #[arg(long, default_value = "text", value_parser = format_of(Format::OF_FIT))]
    pub(crate) format: Format,
    #[command(flatten)]
    pub(crate) options: Limits,
}

const MEMORY_EXAMPLES: &str = "\
Examples:
  scruple memory samples/marrow-brook/telemetry.js
  scruple memory samples/kernels/json_records.js --live
  scruple memory app.js --every 1000 --format svg > app.svg
  scruple memory app.js --format html > memory.html

The script runs at least twice: once to find the peak, once to look at the heap there. Looking on
changes no figure. A site is a source line in a function; what a built-in allocates counts where it
was called. All of it holds for the inputs of this run only.";

#[derive(Debug, Args)]
#[command(after_help = MEMORY_EXAMPLES)]
pub(crate) struct MemoryArguments {
    /// The script or image, or - for standard input
    pub(crate) script: PathBuf,
    #[command(flatten)]
    pub(crate) encoding: OneEncoding,
    #[command(flatten)]
    pub(crate) set: OneSet,
    /// The layout of the heap
    #[arg(long, default_value = "narrow", value_parser = layout())]
    pub(crate) layout: HeapLayout,
    /// Look at the peak of what is reachable instead of the high-water mark
    #[arg(long)]
    pub(crate) live: bool,
    /// Instructions between two samples [default: a round number that gives at most 200]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..))]
    pub(crate) every: Option<u64>,
    /// The form of the report
    #[arg(long, default_value = "text", value_parser = format_of(Format::OF_MEMORY))]
    pub(crate) format: Format,
    #[command(flatten)]
    pub(crate) options: Limits,
}

const BOARD_EXAMPLES: &str = "\
Examples:
  scruple board samples/marrow-brook --encoding implied
  scruple board hello.js --board stm32vldiscovery --core --encoding implied
  scruple board app.js --compile --encoding leb --format json

Builds the firmware in bench/board, lays each script into the flash behind it, runs it, reads back
what it counted, and compares that with the host: a difference in any figure or in the output is an
error. Boards: stm32vldiscovery (8 KiB of RAM, 128 KiB of flash), lm3s6965evb (64, 256), netduino2
(128, 1024), mps2-an385 (4 MiB of each). Needs the Debian packages rustc-web, cargo-web, rust-web-src,
binutils-arm-none-eabi and qemu-system-arm; without them it says which are missing.

The counts are exact for an emulator and no promise about a board: it enforces no flash wait states,
and its instruction clock is no cycle count.";

#[derive(Debug, Args)]
#[command(after_help = BOARD_EXAMPLES)]
pub(crate) struct BoardArguments {
    /// Scripts and images, or folders whose .js files are taken
    #[arg(required = true)]
    pub(crate) paths: Vec<PathBuf>,
    /// The board [default: lm3s6965evb; with --compile netduino2, which has the flash for it]
    #[arg(long, value_parser = board())]
    pub(crate) board: Option<String>,
    /// Encodings, separated by commas; all unless given
    #[arg(long, value_name = "ENCODING", value_delimiter = ',', value_parser = encoding())]
    pub(crate) encoding: Vec<Encoding>,
    /// Compile the scripts on the board, instead of running images
    #[arg(long)]
    pub(crate) compile: bool,
    /// Leave out the built-ins of arrays, strings, Math and JSON
    #[arg(long)]
    pub(crate) core: bool,
    /// Do not look for the least RAM
    #[arg(long)]
    pub(crate) no_ram: bool,
    /// The form of the report
    #[arg(long, default_value = "text", value_parser = format_of(Format::OF_FIT))]
    pub(crate) format: Format,
    /// Show the categories of both peaks, and what the columns mean
    #[arg(short, long)]
    pub(crate) verbose: bool,
    #[command(flatten)]
    pub(crate) options: Limits,
}

const LISTING_EXAMPLES: &str = "\
Examples:
  scruple listing samples/kernels/fib.js
  scruple listing samples/kernels/fib.js --encoding word --function fibByLoop
  scruple listing app.js --format html > listing.html";

#[derive(Debug, Args)]
#[command(after_help = LISTING_EXAMPLES)]
pub(crate) struct ListingArguments {
    /// The script or image, or - for standard input
    pub(crate) script: PathBuf,
    #[command(flatten)]
    pub(crate) encoding: OneEncoding,
    #[command(flatten)]
    pub(crate) set: OneSet,
    /// Only functions of this name, or the one of this number
    #[arg(long, value_name = "NAME")]
    pub(crate) function: Option<String>,
    /// The form of the listing
    #[arg(long, default_value = "text", value_parser = format_of(Format::OF_LISTING))]
    pub(crate) format: Format,
}

const TRACE_EXAMPLES: &str = "\
Examples:
  scruple trace samples/kernels/fib.js
  scruple trace samples/kernels/fib.js --from 1000 --count 10
  scruple trace samples/kernels/fib.js --function fibByLoop
  scruple trace samples/kernels/fib.js --count 400 --format html > steps.html

A line is: number of the instruction, place in the code, what it is, ( taken -- left ). Under
composite, echo and context an instruction may be several operations, a line each: those behind its
first have a + in the place of its number. The page of --format html steps through them, forwards and
backwards, beside the source and the listing.";

#[derive(Debug, Args)]
#[command(after_help = TRACE_EXAMPLES)]
pub(crate) struct TraceArguments {
    /// The script or image, or - for standard input
    pub(crate) script: PathBuf,
    /// The number of the first instruction to show, from 1
    #[arg(long, value_name = "N", default_value_t = 1,
          value_parser = clap::value_parser!(u64).range(1..))]
    pub(crate) from: u64,
    /// How many instructions to show
    #[arg(long, value_name = "N", default_value_t = 40)]
    pub(crate) count: usize,
    /// Only instructions of functions of this name, or of this number
    #[arg(long, value_name = "NAME")]
    pub(crate) function: Option<String>,
    /// The form of what is shown
    #[arg(long, default_value = "text", value_parser = format_of(Format::OF_LISTING))]
    pub(crate) format: Format,
    #[command(flatten)]
    pub(crate) encoding: OneEncoding,
    #[command(flatten)]
    pub(crate) set: OneSet,
    #[command(flatten)]
    pub(crate) options: Limits,
}

/// One encoding.
#[derive(Debug, Args)]
pub(crate) struct OneEncoding {
    /// The encoding of the instructions; an image has its own [default: implied]
    #[arg(long, value_name = "ENCODING", value_parser = encoding())]
    pub(crate) encoding: Option<Encoding>,
}

impl OneEncoding {
    /// What a source is compiled to.
    pub(crate) fn chosen(&self) -> Encoding {
        self.encoding.unwrap_or(Encoding::Implied)
    }
}

/// An instruction set.
#[derive(Debug, Args)]
pub(crate) struct OneSet {
    /// A file with the instruction set of the encoding composite [default: the shipped one]
    #[arg(long, value_name = "FILE")]
    pub(crate) set: Option<PathBuf>,
}

/// Layouts of the heap.
#[derive(Debug, Args)]
pub(crate) struct Layouts {
    /// Layouts of the heap, separated by commas
    #[arg(
        long,
        value_name = "LAYOUT",
        value_delimiter = ',',
        default_value = "narrow",
        value_parser = layout()
    )]
    layout: Vec<HeapLayout>,
}

impl Layouts {
    /// Each layout once, in the order asked for.
    pub(crate) fn chosen(&self) -> Vec<HeapLayout> {
        super::each_once(&self.layout)
    }
}

/// What a run may use.
#[derive(Debug, Args)]
pub(crate) struct Limits {
    /// Virtual time to end at, in ms: timers due then still run [default: a day]
    #[arg(long, value_name = "MS", value_parser = clap::value_parser!(u64).range(..=LONGEST))]
    until: Option<u64>,
    /// A CSV file of sensor readings: a column time_ms, then one a sensor
    #[arg(long, value_name = "CSV")]
    feed: Option<PathBuf>,
    /// The most bytes of heap [default: all of a region of 520192 bytes]
    #[arg(long, value_name = "BYTES", value_parser = bytes())]
    heap: Option<u64>,
    /// The most bytes of stack [default: what the heap leaves]
    #[arg(long, value_name = "BYTES", value_parser = bytes())]
    stack: Option<u64>,
    /// The most operations [default: 1000000000; none for run, trace and step]
    #[arg(long, value_name = "N")]
    budget: Option<u64>,
}

impl Limits {
    /// As the library takes them.
    pub(crate) fn to_options(&self) -> RunOptions {
        RunOptions {
            until: self.until,
            feed: self.feed.clone(),
            heap: self.heap.map(|bytes| bytes as usize),
            stack: self.stack.map(|bytes| bytes as usize),
            budget: self.budget,
            sets: None,
        }
    }
}

fn bytes() -> clap::builder::RangedU64ValueParser {
    clap::value_parser!(u64).range(..=REGION as u64)
}

/// A file to write: standard output has the report already.
pub(crate) fn file_to_write() -> impl clap::builder::TypedValueParser<Value = PathBuf> {
    use clap::builder::TypedValueParser;
    let refuse = "a file is wanted: the report goes to standard output";
    clap::builder::PathBufValueParser::new()
        .try_map(move |path| if path.as_os_str() == "-" { Err(refuse) } else { Ok(path) })
}

/// An encoding that has an instruction set.
pub(crate) fn encoding_with_set() -> impl clap::builder::TypedValueParser<Value = Encoding> {
    use clap::builder::TypedValueParser;
    let with_set = Encoding::ALL.iter().filter(|encoding| encoding.has_set());
    clap::builder::PossibleValuesParser::new(with_set.map(|encoding| encoding.name()))
        .try_map(|name| Encoding::from_name(&name).ok_or("no such encoding"))
}

pub(crate) fn encoding() -> impl clap::builder::TypedValueParser<Value = Encoding> {
    use clap::builder::TypedValueParser;
    let names = Encoding::ALL.iter().map(|encoding| encoding.name());
    clap::builder::PossibleValuesParser::new(names)
        .try_map(|name| Encoding::from_name(&name).ok_or("no such encoding"))
}

fn reason(text: &str) -> Result<String, &'static str> {
    if text.trim().is_empty() { Err("a reason is wanted") } else { Ok(text.trim().to_owned()) }
}

pub(crate) fn layout() -> impl clap::builder::TypedValueParser<Value = HeapLayout> {
    use clap::builder::TypedValueParser;
    let names = HeapLayout::ALL.iter().map(|layout| layout.name());
    clap::builder::PossibleValuesParser::new(names)
        .try_map(|name| HeapLayout::from_name(&name).ok_or("no such layout"))
}

fn board() -> clap::builder::PossibleValuesParser {
    clap::builder::PossibleValuesParser::new(boards::all().into_iter().map(|board| board.name))
}

pub(crate) fn format_of(
    formats: &'static [Format],
) -> impl clap::builder::TypedValueParser<Value = Format> {
    use clap::builder::TypedValueParser;
    let names = formats.iter().map(|format| format.name());
    clap::builder::PossibleValuesParser::new(names).try_map(|name| {
        let format = formats.iter().copied().find(|format| format.name() == name);
        format.ok_or("no such format")
    })
}
