//! The document: what a measurement says, as it goes out and comes back in.
//!
//! It owns the wire form (its schema is `schema/weigh.json`, with the version
//! below) and the identities that every figure must satisfy. Bytes and counts
//! only, never text made of them. It refuses to measure and to lay out.

use scruple_bytecode::Encoding;
use scruple_bytecode::image::{Image, Position, Sizes, header};
use scruple_vm::{Book, Category, Counter};
use serde::{Deserialize, Serialize};

use crate::build::Built;
use crate::diagnose::is_line_end;
use crate::layout::HeapLayout;
use crate::limits::Check;
use crate::machine::Run;
use crate::memory::document::LargestSites;
use crate::shard::Slice;

/// The version of the wire form. It changes when a field changes its meaning or
/// goes; a field that comes does not change it.
pub const SCHEMA: u32 = 2;

/// Everything one measurement says.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Document {
    /// The version of this form.
    pub schema: u32,
    /// What ran the scripts.
    pub lab: Lab,
    /// A row a script, layout and encoding.
    pub rows: Vec<Row>,
    /// Sums of what can be summed, an entry a layout and encoding.
    pub totals: Vec<Total>,
    /// The figures held against limits, if there are any.
    pub checks: Option<Vec<Check>>,
    /// Which part of a measurement this is; a whole one has no such field.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shard: Option<Slice>,
}

/// What ran the scripts.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Lab {
    /// Version of this program.
    pub version: String,
    /// Version of the image format.
    pub image_format: u8,
}

/// How a script is compiled and run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Way {
    /// The encoding of its instructions.
    pub encoding: Encoding,
    /// The layout of its heap.
    pub layout: HeapLayout,
}

/// One script under one encoding over one layout: figures, or an error.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Row {
    /// The script.
    pub script: String,
    /// The encoding's name; `unknown` of a damaged image that does not tell.
    pub encoding: String,
    /// The instruction set, by name and hash, of an encoding that has one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set: Option<String>,
    /// The heap's layout.
    pub layout: HeapLayout,
    /// Whether what it printed was compared with what it must print.
    pub answer_checked: bool,
    /// What went wrong, if something did.
    pub error: Option<RowError>,
    /// The figures, if nothing did.
    pub figures: Option<Figures>,
}

/// Why a row has no figures.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct RowError {
    /// How far the measurement came.
    pub stage: Stage,
    /// What went wrong.
    pub message: String,
    /// The source line, if it went wrong somewhere.
    pub line: Option<u32>,
    /// The column in code points, from 1.
    pub column: Option<u32>,
}

/// A step of a measurement.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Stage {
    /// Reading the script and what belongs to it.
    Read,
    /// Compiling it.
    Compile,
    /// Running it.
    Run,
    /// Comparing what it printed.
    Answer,
    /// Comparing its runs with one another.
    Agreement,
}

/// What one script under one encoding takes.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Figures {
    /// Bytes of the image by section.
    pub image: ImageBytes,
    /// Most bytes of heap and stack at once, garbage included.
    pub heap_high_water: HeapBytes,
    /// Most bytes of heap and stack reachable at once.
    pub live_peak: HeapBytes,
    /// How closely the live peak was watched: bytes allocated between two
    /// collections, 0 where every allocation collected first. Between two
    /// collections more can have been reachable, by as many bytes at most.
    pub live_peak_resolution: u64,
    /// Most bytes of stack at once.
    pub stack_peak: u64,
    /// Most bytes the compiler held at once.
    pub compile_peak: CompilePeak,
    /// Instructions fetched and carried out.
    pub instructions: u64,
    /// Operations carried out: as many as instructions while every instruction
    /// is one operation.
    pub operations: u64,
    /// Instruction bytes read.
    pub fetched_bytes: u64,
    /// Blocks allocated.
    pub allocations: u64,
    /// Bytes of those blocks.
    pub allocated_bytes: u64,
    /// What made the bytes of the high-water mark, if that was asked for: all but
    /// stack and collector.
    pub peak_sites: Option<LargestSites>,
}

/// Bytes of an image by section.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct ImageBytes {
    /// The whole image.
    pub total: u64,
    /// The header.
    pub header: u64,
    /// Constants.
    pub constants: u64,
    /// Globals, function records and lists.
    pub functions: u64,
    /// Instructions.
    pub instructions: u64,
    /// Padding behind the instructions.
    pub padding: u64,
    /// The line table.
    pub lines: u64,
}

/// Bytes of heap and stack by category.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "each is the category of that name")]
pub struct HeapBytes {
    /// All categories.
    pub total: u64,
    pub objects: u64,
    pub properties: u64,
    pub arrays: u64,
    pub strings: u64,
    pub boxed_numbers: u64,
    pub functions: u64,
    pub scopes: u64,
    pub stack: u64,
    pub collector: u64,
    pub caches: u64,
    pub image: u64,
}

/// Most bytes the compiler held at once, the image included.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct CompilePeak {
    /// Bytes it asked for; nothing where the script came packed.
    pub asked: Option<u64>,
    /// Bytes it had from the allocator, if those were counted.
    pub reserved: Option<u64>,
}

/// Sums over the rows of one encoding and layout that have figures: rows of unlike
/// layouts are never added up. Peaks have no sum.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Total {
    /// The encoding's name.
    pub encoding: String,
    /// The heap's layout.
    pub layout: HeapLayout,
    /// Rows summed.
    pub scripts: u64,
    /// Rows left out because of their errors.
    pub failed: u64,
    /// Bytes of the images.
    pub image: ImageBytes,
    /// Instructions carried out.
    pub instructions: u64,
    /// Operations carried out.
    pub operations: u64,
    /// Instruction bytes read.
    pub fetched_bytes: u64,
}

impl Document {
    /// A document of these rows, with its sums.
    pub fn new(rows: Vec<Row>) -> Document {
        let mut totals: Vec<Total> = Vec::new();
        for row in &rows {
            let is_like =
                |total: &Total| total.encoding == row.encoding && total.layout == row.layout;
            let index = totals.iter().position(is_like).unwrap_or_else(|| {
                totals.push(Total::new(&row.encoding, row.layout));
                totals.len() - 1
            });
            totals[index].add(row);
        }
        Document { schema: SCHEMA, lab: Lab::here(), rows, totals, checks: None, shard: None }
    }

    /// Whether every row has figures.
    pub fn is_complete(&self) -> bool {
        self.rows.iter().all(|row| row.error.is_none())
    }

    /// Whether every limit is kept. Without limits nothing is.
    pub fn keeps_limits(&self) -> bool {
        self.checks.as_ref().is_some_and(|checks| checks.iter().all(|check| check.holds))
    }

    /// Whether every split adds up to its total, and every peak lies within what
    /// bounds it.
    pub fn adds_up(&self) -> bool {
        let rows = self.rows.iter().filter_map(|row| row.figures.as_ref());
        let mut images = self.totals.iter().map(|total| &total.image);
        rows.into_iter().all(Figures::adds_up) && images.all(ImageBytes::adds_up)
    }
}

impl Lab {
    /// This program.
    pub fn here() -> Lab {
        Lab { version: env!("CARGO_PKG_VERSION").to_owned(), image_format: header::VERSION }
    }
}

impl Row {
    /// A row with figures.
    pub fn weighed(script: &str, way: Way, checked: bool, figures: Figures) -> Row {
        Row {
            script: script.to_owned(),
            encoding: way.encoding.name().to_owned(),
            set: None,
            layout: way.layout,
            answer_checked: checked,
            error: None,
            figures: Some(figures),
        }
    }

    /// A row with an error.
    pub fn failed(script: &str, way: Way, checked: bool, error: RowError) -> Row {
        Row {
            script: script.to_owned(),
            encoding: way.encoding.name().to_owned(),
            set: None,
            layout: way.layout,
            answer_checked: checked,
            error: Some(error),
            figures: None,
        }
    }
}

impl RowError {
    /// An error without a place.
    pub fn new(stage: Stage, message: String) -> RowError {
        RowError { stage, message, line: None, column: None }
    }

    /// The same at a place.
    pub fn at(self, position: Option<Position>) -> RowError {
        RowError {
            line: position.map(|position| position.line),
            column: position.map(|position| position.column),
            ..self
        }
    }

    /// The place, as far as it is known, and what went wrong there, in one line: a script
    /// may throw any text.
    pub fn describe(&self) -> String {
        let message = in_one_line(&self.message);
        match (self.line, self.column) {
            (Some(line), Some(column)) => format!("{line}:{column}: {message}"),
            (Some(line), None) => format!("{line}: {message}"),
            _ => message,
        }
    }
}

/// A text with what would end a line, or speak to a terminal, escaped.
fn in_one_line(text: &str) -> String {
    let mut line = String::new();
    for ch in text.chars() {
        if ch.is_control() || is_line_end(ch) {
            line.extend(ch.escape_default());
        } else {
            line.push(ch);
        }
    }
    line
}

impl Figures {
    /// The figures of a script that was built, run, and run again with more
    /// collections for the live peak.
    pub fn new(
        image: &Image<'_>,
        built: &Built,
        run: &Run<Counter>,
        collected: &Run<Counter>,
        resolution: u64,
    ) -> Figures {
        Figures {
            image: image.sizes().into(),
            heap_high_water: run.ledger.high_water().into(),
            live_peak: collected.ledger.live_peak().into(),
            live_peak_resolution: resolution,
            stack_peak: u64::from(run.ledger.stack_peak()),
            compile_peak: CompilePeak {
                asked: built.asked.map(|bytes| bytes as u64),
                reserved: built.reserved.map(|bytes| bytes as u64),
            },
            instructions: run.instructions,
            operations: run.operations,
            fetched_bytes: run.observer.fetched_bytes(),
            allocations: run.ledger.allocations(),
            allocated_bytes: run.ledger.allocated(),
            peak_sites: None,
        }
    }

    /// Whether every split adds up, and every peak lies within what bounds it.
    pub fn adds_up(&self) -> bool {
        self.image.adds_up()
            && self.heap_high_water.adds_up()
            && self.live_peak.adds_up()
            && self.live_peak.total <= self.heap_high_water.total
            && self.heap_high_water.stack <= self.stack_peak
            && self.compile_peak.asked.is_none_or(|asked| asked >= self.image.total)
            && self.operations >= self.instructions
            && self.peak_sites.as_ref().is_none_or(|sites| {
                let HeapBytes { total, stack, collector, .. } = self.heap_high_water;
                sites.total_bytes() == total - stack - collector
            })
    }
}

impl ImageBytes {
    /// Whether the sections add up to the image.
    pub fn adds_up(&self) -> bool {
        let ImageBytes { total, header, constants, functions, instructions, padding, lines } =
            *self;
        total == header + constants + functions + instructions + padding + lines
    }

    fn add(&mut self, other: &ImageBytes) {
        self.total += other.total;
        self.header += other.header;
        self.constants += other.constants;
        self.functions += other.functions;
        self.instructions += other.instructions;
        self.padding += other.padding;
        self.lines += other.lines;
    }
}

impl From<Sizes> for ImageBytes {
    fn from(sizes: Sizes) -> Self {
        ImageBytes {
            total: sizes.total() as u64,
            header: sizes.header as u64,
            constants: sizes.constants as u64,
            functions: sizes.functions as u64,
            instructions: sizes.instructions as u64,
            padding: sizes.padding as u64,
            lines: sizes.lines as u64,
        }
    }
}

impl HeapBytes {
    /// The categories by the names a report uses, in its order.
    pub fn by_category(&self) -> [(&'static str, u64); Category::ALL.len()] {
        Category::ALL.map(|category| {
            let bytes = match category {
                Category::Objects => self.objects,
                Category::Properties => self.properties,
                Category::Arrays => self.arrays,
                Category::Strings => self.strings,
                Category::Numbers => self.boxed_numbers,
                Category::Functions => self.functions,
                Category::Scopes => self.scopes,
                Category::Stack => self.stack,
                Category::Collector => self.collector,
                Category::Caches => self.caches,
                Category::Image => self.image,
            };
            (category.name(), bytes)
        })
    }

    /// Whether the categories add up to the total.
    pub fn adds_up(&self) -> bool {
        self.by_category().iter().map(|(_, bytes)| bytes).sum::<u64>() == self.total
    }
}

impl From<&Book> for HeapBytes {
    fn from(book: &Book) -> Self {
        let bytes = |category| u64::from(book.bytes(category));
        HeapBytes {
            total: u64::from(book.total()),
            objects: bytes(Category::Objects),
            properties: bytes(Category::Properties),
            arrays: bytes(Category::Arrays),
            strings: bytes(Category::Strings),
            boxed_numbers: bytes(Category::Numbers),
            functions: bytes(Category::Functions),
            scopes: bytes(Category::Scopes),
            stack: bytes(Category::Stack),
            collector: bytes(Category::Collector),
            caches: bytes(Category::Caches),
            image: bytes(Category::Image),
        }
    }
}

impl Total {
    fn new(encoding: &str, layout: HeapLayout) -> Total {
        Total {
            encoding: encoding.to_owned(),
            layout,
            scripts: 0,
            failed: 0,
            image: ImageBytes::default(),
            instructions: 0,
            operations: 0,
            fetched_bytes: 0,
        }
    }

    fn add(&mut self, row: &Row) {
        let Some(figures) = &row.figures else {
            self.failed += 1;
            return;
        };
        self.scripts += 1;
        self.image.add(&figures.image);
        self.instructions += figures.instructions;
        self.operations += figures.operations;
        self.fetched_bytes += figures.fetched_bytes;
    }
}
