//! What the commands take that look at a whole corpus, or at documents of one:
//! definitions, as in [`super::args`].

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use scruple_bench::layout::HeapLayout;
use scruple_bench::limits::{Metric, Percent};
use scruple_bench::report::Format;
use scruple_bench::shard::Shard;
use scruple_bytecode::sets::{MAX_ENTRIES, SetBuffer};
use scruple_bytecode::{Encoding, Op};

use super::args::{Limits, encoding, encoding_with_set, file_to_write, format_of, layout};

const SWEEP_EXAMPLES: &str = "\
Examples:
  scruple sweep samples
  scruple sweep samples --format svg > sweep.svg
  scruple sweep samples --encoding byte,composite --set mined.set --layout narrow
  scruple sweep corpus --format json --shard 2/4 > slice-2.json
  scruple sweep samples --layout narrow --time 9 --format svg > sweep.svg

Every answer is checked first, as weigh does. A point adds up the scripts that ran every way; the
others are named. Beside the sizes stand the entropy of the opcodes and operands of this corpus and
what deflate makes of the bytes. The counts are exact and the same on every host. --time adds times,
apart from them, with a front and a chart of their own: they are noisy, of this machine only, and no
word about a board. A table for a spreadsheet has none.";

#[derive(Debug, Args)]
#[command(after_help = SWEEP_EXAMPLES)]
pub(crate) struct SweepArguments {
    /// Scripts, or folders whose .js files are taken
    #[arg(required = true)]
    pub(crate) paths: Vec<PathBuf>,
    /// Encodings, separated by commas; all unless given
    #[arg(long, value_name = "ENCODING", value_delimiter = ',', value_parser = encoding())]
    pub(crate) encoding: Vec<Encoding>,
    /// Files with instruction sets of the encoding composite, separated by commas [default: the
    /// shipped one]
    #[arg(long, value_name = "FILE", value_delimiter = ',')]
    pub(crate) set: Vec<PathBuf>,
    /// Layouts of the heap, separated by commas; all unless given
    #[arg(long, value_name = "LAYOUT", value_delimiter = ',', value_parser = layout())]
    pub(crate) layout: Vec<HeapLayout>,
    /// The form of the report
    #[arg(long, default_value = "text", value_parser = format_of(Format::OF_SWEEP))]
    pub(crate) format: Format,
    /// Run everything N rounds more, one way after the other, and tell the median and the spread
    #[arg(long, value_name = "N", conflicts_with = "shard",
          value_parser = clap::value_parser!(u32).range(1..=1000))]
    pub(crate) time: Option<u32>,
    /// Measure one slice of the scripts, for `merge`: wants --format json
    #[arg(long, value_name = "I/N")]
    pub(crate) shard: Option<Shard>,
    #[command(flatten)]
    pub(crate) baseline: Baseline,
    #[command(flatten)]
    pub(crate) options: Limits,
}

const COMPARE_EXAMPLES: &str = "\
Examples:
  scruple weigh samples --format json > before.json
  scruple compare before.json after.json
  scruple compare baseline.json now.json --fail-on-worse --metric instruction_bytes,instructions
  scruple compare a.json b.json --encoding implied --fail-on-worse --allow 0.5

Both are documents of weigh, or both of sweep. Unlike ones are refused: another schema, other
encodings or layouts, a slice. Metrics are those of weigh --format csv, less what depends on the
allocator of a machine. With --fail-on-worse the exit code is 3 if a figure rose by more than is
allowed, or if a row of the first has no figure to compare in either; scripts that only the second
has do not count.";

#[derive(Debug, Args)]
#[command(after_help = COMPARE_EXAMPLES)]
pub(crate) struct CompareArguments {
    /// The document to compare with
    #[arg(value_name = "BEFORE")]
    pub(crate) before: PathBuf,
    /// The document to compare
    #[arg(value_name = "AFTER")]
    pub(crate) after: PathBuf,
    /// Only these encodings, separated by commas
    #[arg(long, value_name = "ENCODING", value_delimiter = ',', value_parser = encoding())]
    pub(crate) encoding: Vec<Encoding>,
    /// Only these layouts, separated by commas
    #[arg(long, value_name = "LAYOUT", value_delimiter = ',', value_parser = layout())]
    pub(crate) layout: Vec<HeapLayout>,
    /// Only these metrics, separated by commas
    #[arg(long, value_name = "METRIC", value_delimiter = ',', value_parser = metric())]
    pub(crate) metric: Vec<Metric>,
    /// End with code 3 if a figure became worse, that is larger
    #[arg(long)]
    pub(crate) fail_on_worse: bool,
    /// How much larger a figure may be, in per cent [default: 0]
    #[arg(long, value_name = "PERCENT", requires = "fail_on_worse", value_parser = percent)]
    pub(crate) allow: Option<Percent>,
    /// The form of the report
    #[arg(long, default_value = "text", value_parser = format_of(Format::OF_COMPARE))]
    pub(crate) format: Format,
    /// Show every metric and every figure that differs
    #[arg(short, long)]
    pub(crate) verbose: bool,
}

const MERGE_EXAMPLES: &str = "\
Examples:
  scruple weigh samples --shard 1/2 --format json > 1.json
  scruple weigh samples --shard 2/2 --format json > 2.json
  scruple merge 1.json 2.json > all.json

What comes out is what one run would have written. Slices of another run, of another version, a
slice that is missing or given twice are refused.";

#[derive(Debug, Args)]
#[command(after_help = MERGE_EXAMPLES)]
pub(crate) struct MergeArguments {
    /// Documents of slices, all of weigh or all of sweep
    #[arg(required = true, value_name = "FILE")]
    pub(crate) files: Vec<PathBuf>,
    /// Files with instruction sets that the slices were made with, separated by commas
    #[arg(long, value_name = "FILE", value_delimiter = ',')]
    pub(crate) set: Vec<PathBuf>,
    /// The form of the report
    #[arg(long, default_value = "json", value_parser = format_of(Format::OF_SWEEP))]
    pub(crate) format: Format,
}

const COMPOSE_EXAMPLES: &str = "\
Examples:
  scruple compose samples
  scruple compose samples --goal mix --weight 70 --name tides -o tides.set
  scruple compose corpus --goal bytes --no-run --format json > set.json
  scruple compose samples --on corpus --encoding composite
  scruple compose samples --for context
  scruple compose samples --for context --first tides.set

An entry is a short form of one operation, or 2 to 8 operations as one instruction, each operand
fixed or free. Runs are split to the fewest bytes, as the compiler does, and every entry is weighed
over the whole corpus with those before it. For context, entries of a second table count behind
entries that leave a value, where they take the bytes of the first table's last. An entry must pay
its bytes in the table that all images share. Beside what the set saves on these scripts stands what
a set saves that was mined without the script in question: only that says anything of other scripts.
Each of these sets is compiled against and run, its answer checked; what a model says stands apart.
--on adds scripts of another origin.";

/// What a set is to save.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Goal {
    /// Bytes of instructions
    Bytes,
    /// Instructions carried out, each script's counting as much
    Instructions,
    /// Both: see --weight
    Mix,
}

#[derive(Debug, Args)]
#[command(after_help = COMPOSE_EXAMPLES)]
pub(crate) struct ComposeArguments {
    /// Scripts, or folders whose .js files are taken
    #[arg(required = true)]
    pub(crate) paths: Vec<PathBuf>,
    /// What the set is to save
    #[arg(long, value_enum, default_value = "bytes")]
    pub(crate) goal: Goal,
    /// How much of the goal `mix` bytes are, in per cent
    #[arg(long, value_name = "PERCENT", default_value = "50",
          value_parser = clap::value_parser!(u32).range(0..=100))]
    pub(crate) weight: u32,
    /// The most entries
    #[arg(long, value_name = "N", default_value_t = MAX_ENTRIES)]
    pub(crate) entries: usize,
    /// The fewest scripts that an entry must stand in
    #[arg(long, value_name = "N", default_value = "2")]
    pub(crate) programs: usize,
    /// The encoding that the set is mined for: for context, a second table as well
    #[arg(long = "for", value_name = "ENCODING", default_value = "composite",
          value_parser = encoding_with_set())]
    pub(crate) target: Encoding,
    /// How much of its bytes in the shared table an entry must pay, in per cent
    #[arg(long, value_name = "PERCENT", default_value = "100",
          value_parser = clap::value_parser!(u32).range(0..=100))]
    pub(crate) table: u32,
    /// Take the first table of this set as it is, and mine a second one over it
    #[arg(long, value_name = "FILE")]
    pub(crate) first: Option<PathBuf>,
    /// Only compile the scripts: no answer is checked, nothing carried out is counted
    #[arg(long)]
    pub(crate) no_run: bool,
    /// Scripts that the set is tried on too, and not mined from
    #[arg(long, value_name = "PATH", value_delimiter = ',')]
    pub(crate) on: Vec<PathBuf>,
    /// Encodings that sets are tried with, separated by commas; all that have one unless given
    #[arg(long, value_name = "ENCODING", value_delimiter = ',', value_parser = encoding_with_set())]
    pub(crate) encoding: Vec<Encoding>,
    /// The set's name
    #[arg(long, default_value = "mined", value_parser = set_name)]
    pub(crate) name: String,
    /// Write the set to a file, if no script was left out
    #[arg(short, long, value_name = "FILE", value_parser = file_to_write())]
    pub(crate) output: Option<PathBuf>,
    /// The form of the report
    #[arg(long, default_value = "text", value_parser = format_of(Format::OF_COMPARE))]
    pub(crate) format: Format,
    /// Name every script of an entry
    #[arg(short, long)]
    pub(crate) verbose: bool,
    #[command(flatten)]
    pub(crate) options: Limits,
}

const OPERATIONS_EXAMPLES: &str = "\
Examples:
  scruple operations
  scruple operations --name load_slot,push_int -v
  scruple operations samples
  scruple operations samples --encoding byte -v
  scruple operations samples --format csv > operations.csv

Without scripts it is the table itself: what each operation takes from the stack and leaves there,
and the bytes of its instruction under each encoding that has no instruction set. With scripts it
adds up how often each stands in their code, the bytes it takes there, and how often it is carried
out, for their inputs. Every answer is checked first, as weigh does; -v adds the operands that stand
there most often, which short forms are chosen by.";

#[derive(Debug, Args)]
#[command(after_help = OPERATIONS_EXAMPLES)]
pub(crate) struct OperationsArguments {
    /// Scripts, or folders whose .js files are taken
    pub(crate) paths: Vec<PathBuf>,
    /// Only these operations, separated by commas
    #[arg(long, value_name = "OPERATION", value_delimiter = ',', value_parser = operation())]
    pub(crate) name: Vec<Op>,
    /// The encoding whose bytes are counted
    #[arg(long, value_name = "ENCODING", default_value = "implied",
          value_parser = encoding_without_set())]
    pub(crate) encoding: Encoding,
    /// Only compile the scripts: no answer is checked, nothing carried out is counted
    #[arg(long)]
    pub(crate) no_run: bool,
    /// The form of the report
    #[arg(long, default_value = "text", value_parser = format_of(Format::OF_OPERATIONS))]
    pub(crate) format: Format,
    /// Show bytes, or the commonest operands, in text: JSON and pages have them anyway
    #[arg(short, long)]
    pub(crate) verbose: bool,
    #[command(flatten)]
    pub(crate) options: Limits,
}

/// An encoding without an instruction set.
fn encoding_without_set() -> impl clap::builder::TypedValueParser<Value = Encoding> {
    use clap::builder::TypedValueParser;
    let without = Encoding::ALL.iter().filter(|encoding| !encoding.has_set());
    clap::builder::PossibleValuesParser::new(without.map(|encoding| encoding.name()))
        .try_map(|name| Encoding::from_name(&name).ok_or("no such encoding"))
}

/// An operation by its name, which has no list of possible values: `--help` would be all of
/// the table.
fn operation() -> impl clap::builder::TypedValueParser<Value = Op> {
    use clap::builder::TypedValueParser;
    clap::builder::StringValueParser::new()
        .try_map(|name| Op::from_mnemonic(&name).ok_or("see scruple operations"))
}

/// A saved document to hold a measurement against, and where to save it.
#[derive(Debug, Args)]
pub(crate) struct Baseline {
    /// A saved document to compare with: the exit code is 3 if a figure is larger
    #[arg(long, value_name = "JSON", conflicts_with = "shard")]
    pub(crate) baseline: Option<PathBuf>,
    /// How much larger than there a figure may be, in per cent [default: 0]
    #[arg(long, value_name = "PERCENT", requires = "baseline", value_parser = percent)]
    pub(crate) allow: Option<Percent>,
    /// Compare only these metrics, separated by commas
    #[arg(long, value_name = "METRIC", value_delimiter = ',', requires = "baseline",
          value_parser = metric())]
    pub(crate) metric: Vec<Metric>,
    /// Save the document as JSON, once the verdict is reached: it may be the baseline's file, which
    /// is replaced if the verdict holds
    #[arg(long, value_name = "JSON", conflicts_with = "shard", value_parser = file_to_write())]
    pub(crate) save: Option<PathBuf>,
}

fn metric() -> impl clap::builder::TypedValueParser<Value = Metric> {
    use clap::builder::TypedValueParser;
    clap::builder::PossibleValuesParser::new(Metric::all().map(Metric::name))
        .try_map(|name| Metric::from_name(&name).ok_or("no such metric"))
}

fn set_name(text: &str) -> Result<String, &'static str> {
    SetBuffer::new(text).map(|_| text.to_owned()).ok_or("it is no name for a set")
}

fn percent(text: &str) -> Result<Percent, &'static str> {
    let number = text.parse().ok().and_then(Percent::new);
    number.ok_or("per cent are a number from 0 to a million")
}
