//! `step` on a terminal: reads keys and draws, and leaves the terminal as it was.
//!
//! It owns the terminal's modes: whichever way the session ends, by a key, an error, a
//! panic or a signal that ends programs, they are put back. What keys do and what is drawn
//! is the library's.

use std::collections::VecDeque;
use std::io::{self, Stdout, Write};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use ratatui::Terminal;
use ratatui::backend::CrosstermBackend;
use ratatui::crossterm::cursor::{Hide, Show};
use ratatui::crossterm::event::{self, Event};
use ratatui::crossterm::execute;
use ratatui::crossterm::style::force_color_output;
use ratatui::crossterm::terminal::{
    EnterAlternateScreen, LeaveAlternateScreen, disable_raw_mode, enable_raw_mode,
};
use scruple_bench::report::counted;
use scruple_bench::step::breakpoints::Breakpoints;
use scruple_bench::step::code::Code;
use scruple_bench::step::screen::{Ui, draw, pauses};
use scruple_bench::step::text::Lines;
use scruple_bench::step::{Command, Pause, Pilot};

/// How long a run goes on before it is said how far it is; and how long nothing is looked for
/// but keys.
const PATIENCE: Duration = Duration::from_millis(200);

/// Whether the terminal's modes are ours.
static TAKEN: AtomicBool = AtomicBool::new(false);

/// Whether what was drawn is gone, because the program was stopped for a while.
static HAS_STOPPED: AtomicBool = AtomicBool::new(false);

/// Held while something is drawn. A signal waits for that: what is drawn ends with the cursor
/// hidden, and must not come behind what shows it again.
static DRAWING: Mutex<()> = Mutex::new(());

/// The terminal, in the modes for drawing.
struct Modes;

impl Modes {
    fn take() -> io::Result<Modes> {
        // A panic's message belongs on the screen that stays.
        let before = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |panic| {
            give_back();
            before(panic);
        }));
        #[cfg(unix)]
        watch_signals()?;
        let modes = Modes;
        take()?;
        Ok(modes)
    }
}

impl Drop for Modes {
    fn drop(&mut self) {
        give_back();
    }
}

/// Ends the program as a signal would, once the modes are put back; or stops it, and takes them
/// again when it goes on.
#[cfg(unix)]
fn watch_signals() -> io::Result<()> {
    use signal_hook::consts::{SIGHUP, SIGINT, SIGQUIT, SIGTERM, SIGTSTP};
    use signal_hook::low_level::emulate_default_handler;
    let mut signals =
        signal_hook::iterator::Signals::new([SIGHUP, SIGINT, SIGQUIT, SIGTERM, SIGTSTP])?;
    let watch = move || {
        for signal in signals.forever() {
            let _nothing_is_drawn = DRAWING.lock();
            give_back();
            // It does not come back from there, unless it was stopped and goes on.
            let _ = emulate_default_handler(signal);
            if signal == SIGTSTP && take().is_ok() {
                HAS_STOPPED.store(true, Ordering::SeqCst);
            }
        }
    };
    std::thread::Builder::new().name("signals".to_owned()).spawn(watch).map(drop)
}

fn take() -> io::Result<()> {
    enable_raw_mode()?;
    TAKEN.store(true, Ordering::SeqCst);
    execute!(io::stdout(), EnterAlternateScreen, Hide)
}

/// Puts the modes back as they were, once.
fn give_back() {
    if TAKEN.swap(false, Ordering::SeqCst) {
        // There is no better place to complain to than what is being put back.
        let _ = execute!(io::stdout(), LeaveAlternateScreen, Show);
        let _ = disable_raw_mode();
        let _ = io::stdout().flush();
    }
}

/// A pilot that draws and reads keys.
struct Screen {
    terminal: Terminal<CrosstermBackend<Stdout>>,
    ui: Ui,
    /// Keys that were pressed while a run went on.
    waiting: VecDeque<Event>,
    /// The pause before, which stays to be seen while a run goes on.
    shown: Option<(Pause, Breakpoints)>,
    /// Since when the run goes on, or when it was said last how far it is.
    since: Instant,
    fault: Option<io::Error>,
    // Let go of last.
    _modes: Modes,
}

/// Whether there are panes.
pub(super) const IS_IN_BUILD: bool = true;

/// Takes the terminal.
pub(super) fn open(code: Arc<Code>, lines: Lines, colour: bool) -> io::Result<Box<dyn Pilot>> {
    Ok(Box::new(Screen::open(code, lines, colour)?))
}

impl Screen {
    fn open(code: Arc<Code>, lines: Lines, colour: bool) -> io::Result<Screen> {
        let modes = Modes::take()?;
        if colour {
            // What was asked for goes before the environment, which the backend asks itself.
            force_color_output(true);
        }
        Ok(Screen {
            terminal: Terminal::new(CrosstermBackend::new(io::stdout()))?,
            ui: Ui::new(code, lines, colour),
            waiting: VecDeque::new(),
            shown: None,
            since: Instant::now(),
            fault: None,
            _modes: modes,
        })
    }

    fn draw(&mut self, pause: &Pause, breakpoints: &Breakpoints) -> io::Result<()> {
        if HAS_STOPPED.swap(false, Ordering::SeqCst) {
            // One that has drawn nothing yet; to clear the old one asks the terminal where its
            // cursor is, and not every one answers.
            self.terminal = Terminal::new(CrosstermBackend::new(io::stdout()))?;
        }
        let ui = &self.ui;
        let _drawing = DRAWING.lock();
        self.terminal.draw(|frame| draw(frame.buffer_mut(), ui, pause, breakpoints)).map(|_| ())
    }

    fn talk(&mut self, pause: &Pause, breakpoints: &mut Breakpoints) -> io::Result<Command> {
        self.ui.arrive();
        loop {
            self.draw(pause, breakpoints)?;
            let event = match self.waiting.pop_front() {
                Some(event) => Some(event),
                None => next_event()?,
            };
            if let Some(Event::Key(key)) = event
                && let Some(command) = self.ui.press(key, pause, breakpoints)
            {
                self.shown = Some((pause.clone(), breakpoints.clone()));
                self.since = Instant::now();
                return Ok(command);
            }
        }
    }

    /// Whether somebody has pressed a key that pauses; other keys wait.
    fn is_stopped(&mut self, number: u64) -> io::Result<bool> {
        while event::poll(Duration::ZERO)? {
            match event::read()? {
                Event::Key(key) if pauses(key) => {
                    self.waiting.clear();
                    return Ok(true);
                }
                event => self.waiting.push_back(event),
            }
        }
        if self.since.elapsed() >= PATIENCE {
            self.since = Instant::now();
            let so_far = counted(number, "instruction");
            self.ui.say(&format!("{so_far} so far; Esc pauses"));
            if let Some((pause, breakpoints)) = self.shown.take() {
                self.draw(&pause, &breakpoints)?;
                self.shown = Some((pause, breakpoints));
            }
        }
        Ok(false)
    }
}

/// The next event, or nothing where it is to be drawn again without one.
fn next_event() -> io::Result<Option<Event>> {
    while !HAS_STOPPED.load(Ordering::SeqCst) {
        if event::poll(PATIENCE)? {
            return event::read().map(Some);
        }
    }
    Ok(None)
}

impl Pilot for Screen {
    fn ask(&mut self, pause: &Pause, breakpoints: &mut Breakpoints) -> Command {
        if self.fault.is_some() {
            return Command::Quit;
        }
        self.talk(pause, breakpoints).unwrap_or_else(|error| {
            self.fault = Some(error);
            Command::Quit
        })
    }

    fn wants_pause(&mut self, number: u64) -> bool {
        self.is_stopped(number).unwrap_or_else(|error| {
            self.fault = Some(error);
            true
        })
    }

    fn fault(&mut self) -> Option<io::Error> {
        self.fault.take()
    }
}
