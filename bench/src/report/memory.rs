//! What `memory` found, for people: the peak by category, site and kind, and the
//! heap over time.

use super::counted;
use crate::document::HeapBytes;
use crate::memory::document::{Document, LargestSites, PeakOf, Sample};

/// Sites that are shown one by one.
const SITES: usize = 20;

/// Lines of the table over time.
const LINES: usize = 24;

pub(super) fn render(document: &Document) -> String {
    let peak = &document.peak;
    let mark = if document.answer_checked { "" } else { " (answer not checked)" };
    let mut text = format!(
        "{}, {}, {}{mark}: {} {} bytes at instruction {} of {}, {}\n",
        document.script,
        document.encoding,
        document.layout.name(),
        peak_name(document),
        peak.heap.total,
        peak.instructions,
        document.instructions,
        peak.place.describe(),
    );
    text.push_str(&format!("{}\n\nby category at the peak, in bytes:\n", how(document)));
    for (name, bytes) in peak.heap.by_category().iter().filter(|(_, bytes)| *bytes > 0) {
        text.push_str(&format!("{bytes:>10}  {name}\n"));
    }
    text.push_str(&format!("{:>10}  sum\n", peak.heap.total));
    text.push_str("\nby site, bytes and blocks (a block that grew counts where it was made):\n");
    text.push_str(&sites(&peak.largest(SITES), "  "));
    for (bytes, name) in [(peak.heap.stack, "stack"), (peak.heap.collector, "collector")] {
        text.push_str(&format!("{bytes:>10} {:>7}  {name}\n", ""));
    }
    text.push_str(&format!("{:>10} {:>7}  sum\n", peak.heap.total, ""));
    text.push_str("\nby kind of block, bytes and blocks:\n");
    for kind in &peak.kinds {
        let (bytes, blocks) = (kind.bytes, kind.blocks);
        text.push_str(&format!("{bytes:>10} {blocks:>7}  {} ({})\n", kind.kind, kind.category));
    }
    text.push_str(&format!("{:>10} {:>7}  sum\n\n", peak.block_bytes(), ""));
    text.push_str(&over_time(document));
    text.push_str(
        "\nFor the inputs of this run only. Exact counts here are no promise about a board: leave \
         headroom.\n",
    );
    text
}

/// The largest sites with bytes and blocks, the others last with their number.
pub(super) fn sites(sites: &LargestSites, indent: &str) -> String {
    let mut text = String::new();
    for site in &sites.largest {
        text.push_str(&format!(
            "{indent}{:>8} {:>7}  {}\n",
            site.bytes,
            site.blocks,
            site.place.describe()
        ));
    }
    if sites.other_sites > 0 {
        text.push_str(&format!(
            "{indent}{:>8} {:>7}  others ({})\n",
            sites.other_bytes,
            sites.other_blocks,
            counted(sites.other_sites, "site")
        ));
    }
    text
}

/// What the peak is called.
pub(super) fn peak_name(document: &Document) -> &'static str {
    match document.peak_of {
        PeakOf::HighWater => "high-water",
        PeakOf::Live { .. } => "live peak",
    }
}

/// How the run collected, and what it allocated.
pub(super) fn how(document: &Document) -> String {
    let how = match document.peak_of {
        PeakOf::HighWater => "Garbage included".to_owned(),
        PeakOf::Live { resolution: 0 } => "Reachable alone: collected before every one".to_owned(),
        PeakOf::Live { resolution } => {
            format!("Reachable alone, within {resolution} bytes of allocation")
        }
    };
    format!(
        "{how}. {} of {} in all, {}.",
        counted(document.allocations, "allocation"),
        counted(document.allocated_bytes, "byte"),
        counted(document.collections, "collection")
    )
}

fn over_time(document: &Document) -> String {
    // Several samples to a line, the highest of them shown: the peak stays in sight.
    let per = document.timeline.len().div_ceil(LINES).max(1);
    let highest = |samples: &[Sample]| {
        let mut heap = HeapBytes::default();
        for sample in samples {
            if sample.heap.total > heap.total {
                heap = sample.heap;
            }
        }
        (samples.last().map_or(0, |last| last.instructions), heap)
    };
    let rows: Vec<(u64, HeapBytes)> = document.timeline.chunks(per).map(highest).collect();
    let n_categories = HeapBytes::default().by_category().len();
    let is_used = |index: &usize| rows.iter().any(|(_, heap)| heap.by_category()[*index].1 > 0);
    let used: Vec<usize> = (0..n_categories).filter(is_used).collect();
    let mut text = format!(
        "over time: the highest total within each {}, in bytes\n{:>12} {:>9}",
        counted(document.step_instructions * per as u64, "instruction"),
        "up to",
        "total"
    );
    let names = HeapBytes::default().by_category();
    for &index in &used {
        text.push_str(&format!(" {:>w$}", names[index].0, w = names[index].0.len().max(8)));
    }
    text.push('\n');
    for (instructions, heap) in &rows {
        text.push_str(&format!("{instructions:>12} {:>9}", heap.total));
        for &index in &used {
            let (name, bytes) = heap.by_category()[index];
            text.push_str(&format!(" {bytes:>w$}", w = name.len().max(8)));
        }
        text.push('\n');
    }
    text
}
