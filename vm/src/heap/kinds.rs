//! The kinds of block: what the cells of the heap are used for.
//!
//! A block is a run of cells. Its first slot is a header: the kind above a half
//! that each kind uses in its own way. Only a number cell has no header.
//!
//! | kind | header's half | further halves and slots |
//! | ---- | ------------- | ------------------------ |
//! | `Object` | prototype | properties; class and flags; [internal value, or of a plain object properties, as in a table] |
//! | `Array` | extra | elements; class and flags |
//! | `Closure` | function number | extra; captures…; [a method's home, a class's field initialiser] (halves, 0 behind the last) |
//! | `Bound` | extra | target; bound this and arguments (elements) |
//! | `Extra` | prototype | properties; class and flags |
//! | `Properties` | count | –, 0; then a cell a property: key and attributes, value |
//! | `Elements` | room | length; then a slot an element |
//! | `Packed` | room | length; then 4, 8 or 16 bits an element, as the array's flags tell |
//! | `Record` | shape | values of a plain object, in halves or slots as the shape tells; the object itself, or its property table |
//! | `Shape` | count | prototype; width of the values (not 0); then a slot a key with attributes. Its header is that of `Properties` |
//! | `Globals` | – | length; then a slot a global of an image |
//! | `Box` | – | value |
//! | `Accessor` | getter | setter |
//! | `KeyIterator` | keys (elements) | index; object |
//! | `ValueIterator` | state | index; iterable; or of a generic one `next`; iterator; frame; place; the one opened before |
//! | `Latin1`, `Utf16` | length in code units | text… |
//! | `LongLatin1`, `LongUtf16` | – | length; text… |
//! | the same with `Key` | | a string that the key table holds |
//! | `Keys` | count | table of references to key strings (halves), weak |
//! | `Changes` | count | flash object and extra (halves)… |
//! | `Symbol` | 1 if registered | description |
//! | `Entries` | the table that took its place | entries in use, and those still there; key, [value] of each |
//! | `WeakEntries` | the next such table | entries in use, and those still there; key, value of each |
//! | `Places` | – | a half a place: number of an entry |
//! | `Bytes` | – | bytes… |

/// What a block of cells is used for. [`Kind::Number`] alone has no header.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Kind {
    /// A number that is no small integer.
    Number = 0,
    /// An object.
    Object = 1,
    /// An array or an arguments object.
    Array = 2,
    /// A function of an image.
    Closure = 3,
    /// A bound function.
    Bound = 4,
    /// What an array, a function or a changed object in flash has beyond the
    /// usual: prototype, properties, flags.
    Extra = 5,
    /// A property table.
    Properties = 6,
    /// Elements of an array.
    Elements = 7,
    /// Globals of an image.
    Globals = 8,
    /// A captured variable.
    Box = 9,
    /// A getter and a setter.
    Accessor = 10,
    /// The state of a `for-in`.
    KeyIterator = 11,
    /// The state of a `for-of`.
    ValueIterator = 12,
    /// A string of Latin-1 bytes.
    Latin1 = 13,
    /// A string of UTF-16 units.
    Utf16 = 14,
    /// A long string of Latin-1 bytes.
    LongLatin1 = 15,
    /// A long string of UTF-16 units.
    LongUtf16 = 16,
    /// A string in the key table.
    KeyLatin1 = 17,
    /// A string in the key table.
    KeyUtf16 = 18,
    /// A string in the key table.
    KeyLongLatin1 = 19,
    /// A string in the key table.
    KeyLongUtf16 = 20,
    /// The key table.
    Keys = 21,
    /// The objects in flash that a script has changed.
    Changes = 22,
    /// A symbol that a script made.
    Symbol = 23,
    /// What a Map or a Set holds.
    Entries = 24,
    /// What a WeakMap or a WeakSet holds.
    WeakEntries = 25,
    /// Where the entries of a large table are, by hash.
    Places = 26,
    /// The bytes of a buffer.
    Bytes = 27,
    /// Elements of an array, in less than a slot each.
    Packed = 28,
    /// A plain object, or the table of one, whose keys lie in a shape.
    Record = 29,
    /// The keys that records have in common. No header says it: there is no pattern left.
    Shape = 30,
}

impl Kind {
    const ALL: [Kind; 31] = [
        Kind::Number,
        Kind::Object,
        Kind::Array,
        Kind::Closure,
        Kind::Bound,
        Kind::Extra,
        Kind::Properties,
        Kind::Elements,
        Kind::Globals,
        Kind::Box,
        Kind::Accessor,
        Kind::KeyIterator,
        Kind::ValueIterator,
        Kind::Latin1,
        Kind::Utf16,
        Kind::LongLatin1,
        Kind::LongUtf16,
        Kind::KeyLatin1,
        Kind::KeyUtf16,
        Kind::KeyLongLatin1,
        Kind::KeyLongUtf16,
        Kind::Keys,
        Kind::Changes,
        Kind::Symbol,
        Kind::Entries,
        Kind::WeakEntries,
        Kind::Places,
        Kind::Bytes,
        Kind::Packed,
        Kind::Record,
        Kind::Shape,
    ];

    #[inline(always)]
    pub(crate) fn from_header(bits: Option<u8>) -> Kind {
        match bits {
            Some(bits) if (bits as usize) < Kind::ALL.len() => Kind::ALL[bits as usize],
            _ => Kind::Number,
        }
    }

    /// The name a report uses.
    pub const fn name(self) -> &'static str {
        match self {
            Kind::Number => "number",
            Kind::Object => "object",
            Kind::Array => "array",
            Kind::Closure => "closure",
            Kind::Bound => "bound function",
            Kind::Extra => "extra",
            Kind::Properties => "property table",
            Kind::Elements => "elements",
            Kind::Globals => "globals",
            Kind::Box => "captured variable",
            Kind::Accessor => "accessor",
            Kind::KeyIterator => "for-in state",
            Kind::ValueIterator => "for-of state",
            Kind::Latin1 => "Latin-1 string",
            Kind::Utf16 => "UTF-16 string",
            Kind::LongLatin1 => "long Latin-1 string",
            Kind::LongUtf16 => "long UTF-16 string",
            Kind::KeyLatin1 => "Latin-1 key",
            Kind::KeyUtf16 => "UTF-16 key",
            Kind::KeyLongLatin1 => "long Latin-1 key",
            Kind::KeyLongUtf16 => "long UTF-16 key",
            Kind::Keys => "key table",
            Kind::Changes => "changes to built-ins",
            Kind::Symbol => "symbol",
            Kind::Entries => "entries",
            Kind::WeakEntries => "weak entries",
            Kind::Places => "places of entries",
            Kind::Bytes => "bytes",
            Kind::Packed => "packed elements",
            Kind::Record => "record",
            Kind::Shape => "shape of records",
        }
    }

    /// Which book of the ledger its bytes are in.
    pub fn category(self) -> Category {
        match self {
            Kind::Number => Category::Numbers,
            Kind::Object | Kind::Extra | Kind::Record => Category::Objects,
            Kind::Properties | Kind::Shape | Kind::Accessor => Category::Properties,
            Kind::Entries | Kind::WeakEntries => Category::Properties,
            Kind::Array | Kind::Elements | Kind::Packed | Kind::Bytes => Category::Arrays,
            Kind::Closure | Kind::Bound => Category::Functions,
            Kind::Globals | Kind::Box | Kind::KeyIterator | Kind::ValueIterator => Category::Scopes,
            Kind::Keys | Kind::Changes | Kind::Places => Category::Caches,
            _ => Category::Strings,
        }
    }

    /// Whether it is a string.
    pub(crate) fn is_text(self) -> bool {
        self.category() == Category::Strings && self != Kind::Symbol
    }

    /// Whether the block can refer to others.
    pub(crate) fn has_children(self) -> bool {
        match self.category() {
            Category::Strings => !self.is_text(),
            Category::Numbers => false,
            _ => !matches!(self, Kind::Keys | Kind::Places | Kind::Bytes | Kind::Packed),
        }
    }
}

/// A book of the ledger.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Category {
    /// Objects.
    Objects = 0,
    /// Property tables, accessors, entries of maps and sets.
    Properties = 1,
    /// Arrays and their elements, and the bytes of buffers.
    Arrays = 2,
    /// Strings and symbols.
    Strings = 3,
    /// Numbers that are no small integers.
    Numbers = 4,
    /// Closures and bound functions.
    Functions = 5,
    /// Captured variables, globals, loop states.
    Scopes = 6,
    /// The machine's stack.
    Stack = 7,
    /// What the collector needs: two bits a cell in use, and its mark stack.
    Collector = 8,
    /// Tables that only save time or hold the changes to objects in flash.
    Caches = 9,
    /// The image, where it lies in RAM.
    Image = 10,
}

impl Category {
    /// Every category, in the order of a report.
    pub const ALL: [Category; 11] = [
        Category::Objects,
        Category::Properties,
        Category::Arrays,
        Category::Strings,
        Category::Numbers,
        Category::Functions,
        Category::Scopes,
        Category::Stack,
        Category::Collector,
        Category::Caches,
        Category::Image,
    ];

    /// The name a report uses.
    pub const fn name(self) -> &'static str {
        match self {
            Category::Objects => "objects",
            Category::Properties => "properties",
            Category::Arrays => "arrays",
            Category::Strings => "strings",
            Category::Numbers => "boxed numbers",
            Category::Functions => "functions",
            Category::Scopes => "scopes",
            Category::Stack => "stack",
            Category::Collector => "collector",
            Category::Caches => "caches",
            Category::Image => "image",
        }
    }
}
