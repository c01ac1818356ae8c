//! The way out: text to the two streams of the host, and the end of the run.
//!
//! It owns the semihosting streams. What the script prints goes to the output
//! stream, the row to the error stream, so neither can be taken for the other.
//! It refuses to format anything beyond whole numbers: the formatting of the
//! standard library would be a part of the flash that is to be weighed.

use core::fmt;

use cortex_m_semihosting::debug::{self, EXIT_FAILURE, EXIT_SUCCESS};
use cortex_m_semihosting::hio::{HostStream, hstderr, hstdout};

/// A stream of the host.
pub(crate) struct Stream(Option<HostStream>);

impl Stream {
    pub(crate) fn output() -> Stream {
        Stream(hstdout().ok())
    }

    pub(crate) fn error() -> Stream {
        Stream(hstderr().ok())
    }

    pub(crate) fn write(&mut self, text: &str) {
        if let Some(stream) = &mut self.0 {
            // Output that cannot be written is missed by whoever compares it.
            let _ = stream.write_all(text.as_bytes());
        }
    }
}

impl fmt::Write for Stream {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        self.write(text);
        Ok(())
    }
}

/// Ends the run.
pub(crate) fn leave(succeeded: bool) -> ! {
    loop {
        debug::exit(if succeeded { EXIT_SUCCESS } else { EXIT_FAILURE });
    }
}

/// A row on its way out: one line of JSON.
pub(crate) struct Row {
    stream: Stream,
    /// Whether a field stands before the next one.
    follows: bool,
}

impl Row {
    pub(crate) fn begin() -> Row {
        let mut stream = Stream::error();
        stream.write("{");
        Row { stream, follows: false }
    }

    fn key(&mut self, key: &str) {
        if self.follows {
            self.stream.write(",");
        }
        self.follows = true;
        self.stream.write("\"");
        self.stream.write(key);
        self.stream.write("\":");
    }

    pub(crate) fn number(&mut self, key: &str, number: u64) {
        self.key(key);
        let mut digits = [0; 20];
        let mut rest = number;
        let mut first = digits.len();
        while first == digits.len() || rest > 0 {
            first -= 1;
            digits[first] = b'0' + (rest % 10) as u8;
            rest /= 10;
        }
        if let Ok(digits) = core::str::from_utf8(&digits[first..]) {
            self.stream.write(digits);
        }
    }

    /// A text, with what JSON asks to escape.
    pub(crate) fn text(&mut self, key: &str, write: impl FnOnce(&mut Escaped<'_>)) {
        self.key(key);
        self.stream.write("\"");
        write(&mut Escaped(&mut self.stream));
        self.stream.write("\"");
    }

    /// Begins an object within.
    pub(crate) fn open(&mut self, key: &str) {
        self.key(key);
        self.stream.write("{");
        self.follows = false;
    }

    /// Ends it.
    pub(crate) fn close(&mut self) {
        self.stream.write("}");
        self.follows = true;
    }

    pub(crate) fn end(mut self) {
        self.stream.write("}\n");
    }
}

/// Writes the inside of a JSON string.
pub(crate) struct Escaped<'a>(&'a mut Stream);

impl Escaped<'_> {
    pub(crate) fn write(&mut self, text: &str) {
        for char in text.chars() {
            match char {
                '"' => self.0.write("\\\""),
                '\\' => self.0.write("\\\\"),
                '\n' => self.0.write("\\n"),
                '\0'..='\x1f' => self.0.write("\\ufffd"),
                _ => self.0.write(char.encode_utf8(&mut [0; 4])),
            }
        }
    }
}

impl fmt::Write for Escaped<'_> {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        self.write(text);
        Ok(())
    }
}
