//! Drawing a pause: a function of what is known onto a buffer.
//!
//! It owns where the panes are. Where there is no room for all of them there is one, that
//! of the focus; of whatever size the buffer is, nothing is written beside it. Marks are
//! characters, and colours say nothing that those do not.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::{Color, Modifier, Style};
use ratatui::text::Span;

use super::super::Pause;
use super::super::breakpoints::Breakpoints;
use super::super::text::{did, place};
use super::super::view::Why;
use super::panes::{Row, rows};
use super::{Pane, Popup, Ui};

/// With fewer columns or lines than these, one pane is shown at a time.
const LEAST_WIDTH: u16 = 64;
const LEAST_HEIGHT: u16 = 18;

/// The panes at the right, and their shares of the height.
const RIGHT: [(Pane, u32); 4] =
    [(Pane::Operands, 4), (Pane::Slots, 6), (Pane::Calls, 4), (Pane::Memory, 5)];

/// What can be done, while nothing else is to be said.
const HINTS: &str = "? keys  q quit  right on  left back  o over  x exit  l line  r run  \
                     b break  Tab pane";

/// As many of them as there is room for.
fn hints(width: usize) -> String {
    let mut shown = String::new();
    for hint in HINTS.split("  ").map(str::trim) {
        let gap = if shown.is_empty() { "" } else { "  " };
        if shown.len() + gap.len() + hint.len() > width {
            break;
        }
        shown = shown + gap + hint;
    }
    shown
}

/// Draws a pause into a buffer, all of it.
pub fn draw(buffer: &mut Buffer, ui: &Ui, pause: &Pause, breakpoints: &Breakpoints) {
    let area = *buffer.area();
    buffer.reset();
    let mut canvas = Canvas { buffer, ui, pause, breakpoints };
    let [title, area] = top(area, 1);
    canvas.line(title, &canvas.title(), canvas.style(Modifier::REVERSED));
    let [area, status] = bottom(area, 1);
    let [last, body] = top(area, u16::from(area.height > 6));
    canvas.line(last, &canvas.last(), Style::new());
    if let Some(popup) = &ui.popup {
        canvas.popup(body, popup);
    } else if body.width < LEAST_WIDTH || body.height < LEAST_HEIGHT - 3 {
        canvas.pane(body, ui.focus);
    } else {
        canvas.panes(body);
    }
    canvas.status(status);
}

/// The first lines of an area, and the others.
fn top(area: Rect, height: u16) -> [Rect; 2] {
    let height = height.min(area.height);
    let rest = Rect { y: area.y + height, height: area.height - height, ..area };
    [Rect { height, ..area }, rest]
}

/// The first lines of an area, and the last ones.
fn bottom(area: Rect, height: u16) -> [Rect; 2] {
    top(area, area.height.saturating_sub(height))
}

/// The first columns of an area, and the others.
fn left(area: Rect, width: u16) -> [Rect; 2] {
    let width = width.min(area.width);
    let rest = Rect { x: area.x + width, width: area.width - width, ..area };
    [Rect { width, ..area }, rest]
}

struct Canvas<'a> {
    buffer: &'a mut Buffer,
    ui: &'a Ui,
    pause: &'a Pause,
    breakpoints: &'a Breakpoints,
}

impl Canvas<'_> {
    fn style(&self, modifier: Modifier) -> Style {
        Style::new().add_modifier(modifier)
    }

    /// A style that has a colour where colours are allowed.
    fn coloured(&self, colour: Color, modifier: Modifier) -> Style {
        let style = self.style(modifier);
        if self.ui.colour { style.fg(colour) } else { style }
    }

    /// Writes a text into the first line of an area, and fills the rest of that line. Where
    /// the text goes on, it says so.
    fn line(&mut self, area: Rect, text: &str, style: Style) {
        let area = area.intersection(*self.buffer.area());
        if area.is_empty() {
            return;
        }
        let row = Rect { height: 1, ..area };
        self.buffer.set_style(row, style);
        let width = usize::from(area.width);
        let span = Span::raw(text);
        let is_cut = span.width() > width;
        let room = if is_cut { width - 1 } else { width };
        let (end, _) = self.buffer.set_stringn(area.x, area.y, text, room, style);
        if is_cut {
            self.buffer.set_stringn(end, area.y, "…", 1, style);
        }
    }

    fn title(&self) -> String {
        let Pause { view, why } = self.pause;
        let place = match why {
            Why::Ended | Why::Failed(_) => "the run is over".to_owned(),
            _ => place(view, &self.ui.code),
        };
        format!("{}: {place}", self.ui.lines.name)
    }

    /// What was carried out last, in a line: of an instruction of several operations the
    /// last one.
    fn last(&self) -> String {
        match self.pause.view.last.last() {
            Some(line) => format!("did {}", did(line, &self.ui.code)),
            None => "did nothing yet".to_owned(),
        }
    }

    fn panes(&mut self, area: Rect) {
        let printed = (area.height / 5).max(3);
        let [body, output] = bottom(area, printed);
        let [main, side] = left(body, area.width - (area.width * 2 / 5).min(48));
        let [source, code] = top(main, main.height / 2);
        self.pane(Rect { width: source.width - 1, ..source }, Pane::Source);
        self.pane(Rect { width: code.width - 1, ..code }, Pane::Code);
        let (mut rest, mut shares) = (side, RIGHT.iter().map(|&(_, share)| share).sum::<u32>());
        for (pane, share) in RIGHT {
            let height = (u32::from(rest.height) * share).div_ceil(shares.max(1)) as u16;
            let own;
            [own, rest] = top(rest, height);
            shares -= share;
            self.pane(own, pane);
        }
        self.pane(output, Pane::Output);
    }

    /// A pane: a line with its name, and its rows around the one at hand.
    fn pane(&mut self, area: Rect, pane: Pane) {
        let [head, body] = top(area, 1);
        let is_focus = pane == self.ui.focus;
        self.head(head, pane.title(), is_focus);
        let Pause { view, .. } = self.pause;
        let (ui, breakpoints) = (self.ui, self.breakpoints);
        let (rows, here) = rows(pane, view, &ui.code, &ui.lines, breakpoints);
        let height = usize::from(body.height);
        let centre = match pane {
            Pane::Source | Pane::Code => here.saturating_sub(height / 2),
            _ => (here + 1).saturating_sub(height),
        };
        let most = rows.len().saturating_sub(height);
        let scrolled = centre.min(most) as i64 + i64::from(ui.scroll[pane.index()]);
        let first = (scrolled.max(0) as usize).min(most);
        let marks = matches!(pane, Pane::Source | Pane::Code);
        for (y, row) in rows.iter().skip(first).take(height).enumerate() {
            let place = Rect { y: body.y + y as u16, height: 1, ..body };
            let aside = if is_focus { ui.aside } else { 0 };
            let text = row.text.chars().skip(aside).collect::<String>();
            let text = if marks { row.marks() + &text } else { text };
            self.line(place, &text, self.style_of(row));
        }
    }

    fn style_of(&self, row: &Row) -> Style {
        match (row.is_here, row.has_breakpoint) {
            (true, _) => self.coloured(Color::Yellow, Modifier::BOLD),
            (false, true) => self.coloured(Color::Red, Modifier::empty()),
            (false, false) => Style::new(),
        }
    }

    /// The name of a pane in a rule; that of the focus in brackets.
    fn head(&mut self, area: Rect, title: &str, is_focus: bool) {
        let (open, close) = if is_focus { ('[', ']') } else { (' ', ' ') };
        let mut text = format!("─{open}{title}{close}");
        let written = text.chars().count();
        text.extend(std::iter::repeat_n('─', usize::from(area.width).saturating_sub(written)));
        let style = if is_focus {
            self.coloured(Color::Cyan, Modifier::BOLD)
        } else {
            self.coloured(Color::Cyan, Modifier::empty())
        };
        self.line(area, &text, style);
    }

    fn popup(&mut self, area: Rect, popup: &Popup) {
        let [head, body] = top(area, 1);
        self.head(head, popup.title, true);
        let shown = popup.text.lines().skip(popup.scroll).take(usize::from(body.height));
        for (y, text) in shown.enumerate() {
            let place = Rect { y: body.y + y as u16, height: 1, ..body };
            let text: String = text.chars().skip(popup.aside).collect();
            self.line(place, &text, Style::new());
        }
    }

    /// The line below: what is being written, or what there is to say.
    fn status(&mut self, area: Rect) {
        if let Some(prompt) = &self.ui.prompt {
            // The end of it is where one writes.
            let room = usize::from(area.width).saturating_sub(3);
            let cut = prompt.chars().count().saturating_sub(room);
            let shown: String = prompt.chars().skip(cut).collect();
            self.line(area, &format!(": {shown}_"), self.style(Modifier::BOLD));
            return;
        }
        if !self.ui.message.is_empty() {
            let style = self.coloured(Color::Yellow, Modifier::BOLD);
            self.line(area, &self.ui.message, style);
            return;
        }
        let text = match &self.pause.why {
            Why::There => hints(usize::from(area.width)),
            Why::Breakpoint(spot) => format!("at the breakpoint: {spot}"),
            Why::Asked => "paused".to_owned(),
            Why::Ended => "the run has ended: left goes back, q quits".to_owned(),
            Why::Failed(failure) => {
                let place =
                    failure.position.map_or(String::new(), |position| format!("{position}: "));
                format!("{place}{}", crate::report::visible(&failure.message))
            }
        };
        let style = match &self.pause.why {
            Why::There | Why::Ended => Style::new(),
            Why::Failed(_) => self.coloured(Color::Red, Modifier::BOLD),
            Why::Breakpoint(_) | Why::Asked => self.coloured(Color::Yellow, Modifier::BOLD),
        };
        self.line(area, &text, style);
    }
}
