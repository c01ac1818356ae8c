//! Names, strings and numbers of the source, each kept once: an [`Atom`] is its
//! number. Those that the image needs get a constant number at first use.
//!
//! An atom also carries the innermost variable record of its name (see
//! `variables`) and its global, so that looking a name up is one array access
//! whatever the number of scopes. It refuses to know what those mean.
//!
//! Texts are kept in the very form the image stores (Latin-1 where every unit
//! is below 256, else UTF-16), so that assembling copies bytes.

use alloc::string::{String, ToString};
use alloc::vec::Vec;

use scruple_bytecode::image::{Text, constant};
use scruple_bytecode::names;

use crate::growth;
use crate::narrow;

/// A name, string or number of the source.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub(crate) struct Atom(u32);

macro_rules! fixed_atoms {
    ($($(#[$note:meta])* $name:ident = $text:literal,)*) => {
        #[allow(clippy::upper_case_acronyms, reason = "a counter, not a type")]
        #[allow(non_camel_case_types, reason = "a counter, not a type")]
        enum Fixed { $($name),* }
        impl Atom { $($(#[$note])* pub(crate) const $name: Atom = Atom(Fixed::$name as u32);)* }
        const FIXED: &[&str] = &[$($text),*];
    };
}

fixed_atoms! {
    EMPTY = "",
    THIS = "this",
    ARGUMENTS = "arguments",
    EVAL = "eval",
    PROTO = "__proto__",
    UNDEFINED = "undefined",
    /// Names the hidden temporaries: no identifier has a space.
    HIDDEN = " ",
}

/// What arrow functions ask of the function around them, as they ask for `this`.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Asked {
    /// The object that a method is defined in.
    Home,
    /// What `new` was applied to.
    Target,
    /// The function itself.
    Callee,
}

/// How an atom's bytes are to be read: the kinds of constant of the image.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Kind {
    Latin1,
    Utf16,
    Number,
}

const START_BITS: u32 = 30;

/// All atoms of a source. What is known of them lies in lists of its own, so that each
/// goes when it is needed no more.
#[derive(Default)]
pub(crate) struct Atoms {
    texts: Texts,
    /// Constant number plus one, or 0.
    constant: Vec<u32>,
    n_constants: u32,
    /// The innermost variable record of this name, see `variables`.
    current: Vec<u32>,
    /// Global number plus one, or 0.
    global: Vec<u32>,
    table: Table,
    units: Vec<u16>,
    /// The names of what arrow functions ask for: a source that asks for nothing keeps
    /// none.
    asked: Option<[Atom; 3]>,
}

/// Where atoms are by their text: open addressing, atom plus one, 0 where free; at most
/// three quarters full. A place takes two bytes as long as that holds the atoms.
#[derive(Default)]
struct Table {
    short: Vec<u16>,
    long: Vec<u32>,
}

impl Table {
    fn new(length: usize) -> Table {
        match length <= 1 << 16 {
            true => Table { short: alloc::vec![0; length], long: Vec::new() },
            false => Table { short: Vec::new(), long: alloc::vec![0; length] },
        }
    }

    fn len(&self) -> usize {
        self.short.len().max(self.long.len())
    }

    fn get(&self, at: usize) -> u32 {
        match self.short.get(at) {
            Some(&place) => place.into(),
            None => self.long[at],
        }
    }

    fn set(&mut self, at: usize, atom: u32) {
        match self.short.get_mut(at) {
            Some(place) => *place = narrow::to_u16(atom),
            None => self.long[at] = atom,
        }
    }
}

/// What atoms stand for.
#[derive(Default)]
struct Texts {
    /// Of each atom the kind in the two top bits, and where its bytes start below.
    starts: Vec<u32>,
    bytes: Vec<u8>,
}

impl Texts {
    fn parts(&self, atom: Atom) -> (Kind, &[u8]) {
        let index = atom.0 as usize;
        let tagged = self.starts[index];
        let kind = match tagged >> START_BITS {
            0 => Kind::Latin1,
            1 => Kind::Utf16,
            _ => Kind::Number,
        };
        let end = self.starts.get(index + 1).map_or(self.bytes.len(), |&next| start_of(next));
        (kind, &self.bytes[start_of(tagged)..end])
    }
}

impl Atom {
    pub(crate) fn number(self) -> u32 {
        self.0
    }

    pub(crate) fn of_number(number: u32) -> Atom {
        Atom(number)
    }
}

impl Atoms {
    pub(crate) fn new() -> Self {
        let mut atoms = Atoms { table: Table::new(64), ..Atoms::default() };
        for text in FIXED {
            atoms.intern(text);
        }
        atoms
    }

    /// The atom of a text.
    pub(crate) fn intern(&mut self, text: &str) -> Atom {
        if text.is_ascii() {
            return self.find_or_add(Kind::Latin1, text.as_bytes());
        }
        let mut units = core::mem::take(&mut self.units);
        units.clear();
        units.extend(text.encode_utf16());
        let atom = self.intern_units(&units);
        self.units = units;
        atom
    }

    /// The atom of a text given in code units.
    pub(crate) fn intern_units(&mut self, units: &[u16]) -> Atom {
        let bytes: Option<Vec<u8>> = units.iter().map(|&unit| narrow::latin1(unit)).collect();
        match bytes {
            Some(bytes) => self.find_or_add(Kind::Latin1, &bytes),
            None => {
                let bytes: Vec<u8> = units.iter().flat_map(|unit| unit.to_le_bytes()).collect();
                self.find_or_add(Kind::Utf16, &bytes)
            }
        }
    }

    /// The atom of a number, by its bits.
    pub(crate) fn intern_number(&mut self, number: f64) -> Atom {
        self.find_or_add(Kind::Number, &number.to_le_bytes())
    }

    /// The name under which it is asked for. No identifier has a space.
    pub(crate) fn asked(&mut self, asked: Asked) -> Atom {
        let names = match self.asked {
            Some(names) => names,
            None => [" home", " target", " callee"].map(|name| self.intern(name)),
        };
        self.asked = Some(names);
        names[asked as usize]
    }

    /// What is asked for under the name.
    pub(crate) fn as_asked(&self, atom: Atom) -> Option<Asked> {
        let names = self.asked?;
        [Asked::Home, Asked::Target, Asked::Callee]
            .into_iter()
            .find(|&asked| names[asked as usize] == atom)
    }

    /// The constant number of an atom; its first use gives it one.
    pub(crate) fn constant(&mut self, atom: Atom) -> u32 {
        let constant = &mut self.constant[atom.0 as usize];
        if *constant == 0 {
            self.n_constants += 1;
            *constant = self.n_constants;
        }
        *constant - 1
    }

    pub(crate) fn current(&self, atom: Atom) -> u32 {
        self.current[atom.0 as usize]
    }

    pub(crate) fn set_current(&mut self, atom: Atom, current: u32) {
        self.current[atom.0 as usize] = current;
    }

    /// The number of the global of this name, if it has one.
    pub(crate) fn global(&self, atom: Atom) -> Option<u32> {
        self.global[atom.0 as usize].checked_sub(1)
    }

    pub(crate) fn set_global(&mut self, atom: Atom, global: u32) {
        self.global[atom.0 as usize] = global + 1;
    }

    /// Whether a property key of this text is an array index or looks like one:
    /// such keys go through the computed-key operations.
    pub(crate) fn is_index_like(&self, atom: Atom) -> bool {
        let (kind, bytes) = self.texts.parts(atom);
        kind == Kind::Latin1 && bytes.first().is_some_and(u8::is_ascii_digit)
    }

    /// Whether the atom is exactly this ASCII text.
    pub(crate) fn is(&self, atom: Atom, text: &str) -> bool {
        let (kind, bytes) = self.texts.parts(atom);
        kind == Kind::Latin1 && bytes == text.as_bytes()
    }

    /// An atom as a diagnostic shows it.
    pub(crate) fn show(&self, atom: Atom) -> String {
        match self.texts.parts(atom) {
            (Kind::Latin1, bytes) => Text::Latin1(bytes).to_string(),
            (Kind::Utf16, bytes) => Text::Utf16(bytes).to_string(),
            (Kind::Number, _) => String::new(),
        }
    }

    /// The constants, once all that need one have it. Nothing is interned any more.
    pub(crate) fn take_constants(&mut self) -> Constants {
        let Atoms { mut texts, constant, n_constants, .. } = core::mem::take(self);
        let mut atoms = alloc::vec![Atom(0); n_constants as usize];
        for (atom, constant) in (0..).map(Atom).zip(constant) {
            if let Some(number) = constant.checked_sub(1) {
                atoms[number as usize] = atom;
            }
        }
        texts.starts.shrink_to_fit();
        texts.bytes.shrink_to_fit();
        Constants { texts, atoms }
    }

    fn find_or_add(&mut self, kind: Kind, bytes: &[u8]) -> Atom {
        let mask = self.table.len() - 1;
        let mut at = hash(kind, bytes) as usize & mask;
        while let Some(index) = self.table.get(at).checked_sub(1) {
            let found = Atom(index);
            if self.texts.parts(found) == (kind, bytes) {
                return found;
            }
            at = (at + 1) & mask;
        }
        let index = narrow::to_u32(self.texts.starts.len());
        self.table.set(at, index + 1);
        let start = narrow::to_u32(self.texts.bytes.len());
        growth::append(&mut self.texts.bytes, bytes);
        growth::push(&mut self.texts.starts, (kind as u32) << START_BITS | start);
        for list in [&mut self.constant, &mut self.current, &mut self.global] {
            growth::push(list, 0);
        }
        if 4 * self.texts.starts.len() > 3 * self.table.len() {
            self.grow();
        }
        Atom(index)
    }

    fn grow(&mut self) {
        let mask = 2 * self.table.len() - 1;
        // It is made of the atoms alone: the old one need not lie beside it.
        self.table = Table::default();
        self.table = Table::new(mask + 1);
        for index in 0..narrow::to_u32(self.texts.starts.len()) {
            let (kind, bytes) = self.texts.parts(Atom(index));
            let mut at = hash(kind, bytes) as usize & mask;
            while self.table.get(at) != 0 {
                at = (at + 1) & mask;
            }
            self.table.set(at, index + 1);
        }
    }
}

/// The constants by number: all that is left of the atoms when the image is made.
pub(crate) struct Constants {
    texts: Texts,
    atoms: Vec<Atom>,
}

impl Constants {
    pub(crate) fn len(&self) -> usize {
        self.atoms.len()
    }

    /// In order.
    pub(crate) fn iter(&self) -> impl Iterator<Item = ConstantParts<'_>> {
        self.atoms.iter().map(|&atom| match self.texts.parts(atom) {
            (Kind::Number, bytes) => ConstantParts::Number(bytes),
            (Kind::Latin1, bytes) => match names::find(bytes) {
                Some(name) => ConstantParts::Name(narrow::to_u32(name.index())),
                None => ConstantParts::Text(constant::LATIN1, Text::Latin1(bytes)),
            },
            (Kind::Utf16, bytes) => ConstantParts::Text(constant::UTF16, Text::Utf16(bytes)),
        })
    }

    /// The text of a constant that has one.
    pub(crate) fn text(&self, number: u32) -> Text<'_> {
        match self.texts.parts(self.atoms[number as usize]) {
            (Kind::Utf16, bytes) => Text::Utf16(bytes),
            (_, bytes) => Text::Latin1(bytes),
        }
    }
}

/// One constant as the image stores it.
#[derive(Clone, Copy)]
pub(crate) enum ConstantParts<'a> {
    /// Eight bytes.
    Number(&'a [u8]),
    /// The number of a name in flash.
    Name(u32),
    /// Kind bits and text.
    Text(u32, Text<'a>),
}

fn start_of(tagged: u32) -> usize {
    (tagged & ((1 << START_BITS) - 1)) as usize
}

/// FNV-1a.
fn hash(kind: Kind, bytes: &[u8]) -> u32 {
    let mut hash = 0x811c_9dc5u32 ^ kind as u32;
    for &byte in bytes {
        hash = (hash ^ u32::from(byte)).wrapping_mul(0x0100_0193);
    }
    // The low bits pick the place: fold the better mixed high ones in.
    hash ^ (hash >> 15)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_texts_are_one_atom_and_others_are_not() {
        let mut atoms = Atoms::new();
        let mut seen = Vec::new();
        for n in 0..60_000 {
            seen.push(atoms.intern(&std::format!("name{n}")));
        }
        for (n, &atom) in seen.iter().enumerate() {
            assert_eq!(atoms.intern(&std::format!("name{n}")), atom);
        }
        let latin = atoms.intern("caf\u{e9}");
        assert_eq!(atoms.intern_units(&[0x63, 0x61, 0x66, 0xe9]), latin);
        assert_eq!(atoms.show(latin), "caf\u{e9}");
        assert_ne!(atoms.intern_number(0.0), atoms.intern_number(-0.0));
        assert_eq!(atoms.intern("this"), Atom::THIS);
        assert_eq!(atoms.intern("__proto__"), Atom::PROTO);
        assert!(atoms.is(Atom::EVAL, "eval"));
    }

    #[test]
    fn constants_are_numbered_by_first_use() {
        let mut atoms = Atoms::new();
        let (a, b) = (atoms.intern("a"), atoms.intern("b"));
        assert_eq!(atoms.constant(b), 0);
        assert_eq!(atoms.constant(a), 1);
        assert_eq!(atoms.constant(b), 0);
        assert_eq!(atoms.take_constants().len(), 2);
    }
}
