//! The names in flash: strings that the built-ins use as property keys and
//! results. A script's string constant equal to one of them costs its image two
//! bytes and no text. Sorted by bytes, so that a string made at run time is
//! found by binary search.
//!
//! Among them stand the well-known symbols (ECMA-262, "Well-Known Symbols"), each
//! under its description. No string finds those: a value's tag tells the symbol
//! from the text, and a key that is such a number is the symbol's.
//!
//! Adding a name renumbers those behind it: [`HASH`] changes, and an image
//! compiled against another list is refused.

use core::cmp::Ordering;

/// A name in flash.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct NameId(u16);

impl NameId {
    /// The name with this number, if there is one.
    pub const fn new(number: usize) -> Option<NameId> {
        if number < COUNT { Some(NameId(number as u16)) } else { None }
    }

    /// The number.
    pub const fn index(self) -> usize {
        self.0 as usize
    }

    /// Whether it is a well-known symbol, whose description the text is.
    pub const fn is_symbol(self) -> bool {
        SYMBOL_ASYNC_ITERATOR.0 <= self.0 && self.0 <= SYMBOL_UNSCOPABLES.0
    }

    /// The text, ASCII throughout.
    pub const fn text(self) -> &'static str {
        text(self.0 as usize)
    }
}

/// The name with this text, if there is one.
pub fn find(text: &[u8]) -> Option<NameId> {
    let (mut first, mut end) = (0, COUNT);
    while first < end {
        let middle = (first + end) / 2;
        match self::text(middle).as_bytes().cmp(text) {
            Ordering::Less => first = middle + 1,
            Ordering::Greater => end = middle,
            Ordering::Equal => return NameId::new(middle).filter(|name| !name.is_symbol()),
        }
    }
    None
}

#[cfg(not(feature = "small"))]
const fn text(number: usize) -> &'static str {
    TEXTS[number]
}

/// Where flash is scarce: two bytes a name instead of a pointer and a length.
#[cfg(feature = "small")]
const fn text(number: usize) -> &'static str {
    static ENDS: [u16; COUNT] = ends();
    let start = if number == 0 { 0 } else { ENDS[number - 1] as usize };
    JOINED.split_at(ENDS[number] as usize).0.split_at(start).1
}

#[cfg(feature = "small")]
const fn ends() -> [u16; COUNT] {
    let mut ends = [0; COUNT];
    let (mut name, mut end) = (0, 0);
    while name < COUNT {
        end += TEXTS[name].len();
        assert!(end <= u16::MAX as usize);
        ends[name] = end as u16;
        name += 1;
    }
    ends
}

/// FNV-1a over the list, recorded in every image.
pub const HASH: u32 = hash();

const fn hash() -> u32 {
    let mut hash = 0x811c_9dc5u32;
    let mut name = 0;
    while name < COUNT {
        let text = TEXTS[name].as_bytes();
        let mut at = 0;
        while at < text.len() {
            hash = (hash ^ text[at] as u32).wrapping_mul(0x0100_0193);
            at += 1;
        }
        hash = (hash ^ 0xff).wrapping_mul(0x0100_0193);
        name += 1;
    }
    hash
}

macro_rules! names {
    ($($name:ident = $text:literal,)*) => {
        #[cfg(not(feature = "small"))]
        static TEXTS: [&str; COUNT] = [$($text),*];
        #[cfg(feature = "small")]
        const TEXTS: [&str; COUNT] = [$($text),*];

        #[cfg(feature = "small")]
        static JOINED: &str = concat!($($text),*);

        /// How many names there are.
        pub const COUNT: usize = [$($text),*].len();

        #[allow(non_camel_case_types, clippy::upper_case_acronyms, reason = "a counter, not a type")]
        enum Number { $($name),* }

        $(
            #[doc = concat!("`", $text, "`")]
            pub const $name: NameId = NameId(Number::$name as u16);
        )*
    };
}

names! {
    EMPTY = "",
    AGGREGATE_ERROR = "AggregateError",
    ARRAY = "Array",
    ARRAY_ITERATOR = "Array Iterator",
    ARRAY_BUFFER = "ArrayBuffer",
    BYTES_PER_ELEMENT = "BYTES_PER_ELEMENT",
    BOOLEAN_CTOR = "Boolean",
    DATA_VIEW = "DataView",
    E = "E",
    EPSILON = "EPSILON",
    ERROR = "Error",
    EVAL_ERROR = "EvalError",
    FLOAT16_ARRAY = "Float16Array",
    FLOAT32_ARRAY = "Float32Array",
    FLOAT64_ARRAY = "Float64Array",
    FUNCTION_CTOR = "Function",
    INFINITY = "Infinity",
    INT16_ARRAY = "Int16Array",
    INT32_ARRAY = "Int32Array",
    INT8_ARRAY = "Int8Array",
    ITERATOR_CTOR = "Iterator",
    JSON = "JSON",
    LN10 = "LN10",
    LN2 = "LN2",
    LOG10_E = "LOG10E",
    LOG2_E = "LOG2E",
    MAX_SAFE_INTEGER = "MAX_SAFE_INTEGER",
    MAX_VALUE = "MAX_VALUE",
    MIN_SAFE_INTEGER = "MIN_SAFE_INTEGER",
    MIN_VALUE = "MIN_VALUE",
    MAP_CTOR = "Map",
    MAP_ITERATOR = "Map Iterator",
    MATH = "Math",
    NEGATIVE_INFINITY = "NEGATIVE_INFINITY",
    NA_N = "NaN",
    NUMBER_CTOR = "Number",
    OBJECT_CTOR = "Object",
    PI = "PI",
    POSITIVE_INFINITY = "POSITIVE_INFINITY",
    RANGE_ERROR = "RangeError",
    REFERENCE_ERROR = "ReferenceError",
    REFLECT = "Reflect",
    SQRT1_2 = "SQRT1_2",
    SQRT2 = "SQRT2",
    SET_CTOR = "Set",
    SET_ITERATOR = "Set Iterator",
    STRING_CTOR = "String",
    STRING_ITERATOR = "String Iterator",
    SYMBOL_CTOR = "Symbol",
    SYMBOL_ASYNC_ITERATOR = "Symbol.asyncIterator",
    SYMBOL_HAS_INSTANCE = "Symbol.hasInstance",
    SYMBOL_IS_CONCAT_SPREADABLE = "Symbol.isConcatSpreadable",
    SYMBOL_ITERATOR = "Symbol.iterator",
    SYMBOL_MATCH = "Symbol.match",
    SYMBOL_MATCH_ALL = "Symbol.matchAll",
    SYMBOL_REPLACE = "Symbol.replace",
    SYMBOL_SEARCH = "Symbol.search",
    SYMBOL_SPECIES = "Symbol.species",
    SYMBOL_SPLIT = "Symbol.split",
    SYMBOL_TO_PRIMITIVE = "Symbol.toPrimitive",
    SYMBOL_TO_STRING_TAG = "Symbol.toStringTag",
    SYMBOL_UNSCOPABLES = "Symbol.unscopables",
    SYNTAX_ERROR = "SyntaxError",
    TYPE_ERROR = "TypeError",
    TYPED_ARRAY = "TypedArray",
    URIERROR = "URIError",
    UINT16_ARRAY = "Uint16Array",
    UINT32_ARRAY = "Uint32Array",
    UINT8_ARRAY = "Uint8Array",
    UINT8_CLAMPED_ARRAY = "Uint8ClampedArray",
    WEAK_MAP = "WeakMap",
    WEAK_SET = "WeakSet",
    __DEFINE_GETTER__ = "__defineGetter__",
    __DEFINE_SETTER__ = "__defineSetter__",
    __LOOKUP_GETTER__ = "__lookupGetter__",
    __LOOKUP_SETTER__ = "__lookupSetter__",
    __PROTO__ = "__proto__",
    ABS = "abs",
    ACOS = "acos",
    ACOSH = "acosh",
    ADD = "add",
    ANONYMOUS = "anonymous",
    APPLY = "apply",
    ARGUMENTS = "arguments",
    ASIN = "asin",
    ASINH = "asinh",
    ASSIGN = "assign",
    ASYNC_ITERATOR = "asyncIterator",
    AT = "at",
    ATAN = "atan",
    ATAN2 = "atan2",
    ATANH = "atanh",
    BIND = "bind",
    BOOLEAN = "boolean",
    BOUND = "bound",
    BUFFER = "buffer",
    BYTE_LENGTH = "byteLength",
    BYTE_OFFSET = "byteOffset",
    CALL = "call",
    CALLEE = "callee",
    CALLER = "caller",
    CAUSE = "cause",
    CBRT = "cbrt",
    CEIL = "ceil",
    CHAR_AT = "charAt",
    CHAR_CODE_AT = "charCodeAt",
    CLEAR = "clear",
    CLEAR_INTERVAL = "clearInterval",
    CLEAR_TIMEOUT = "clearTimeout",
    CLOCK = "clock",
    CLZ32 = "clz32",
    CODE_POINT_AT = "codePointAt",
    CONCAT = "concat",
    CONFIGURABLE = "configurable",
    CONSOLE = "console",
    CONSTRUCT = "construct",
    CONSTRUCTOR = "constructor",
    COPY_WITHIN = "copyWithin",
    COS = "cos",
    COSH = "cosh",
    CREATE = "create",
    DECODE_URI = "decodeURI",
    DECODE_URICOMPONENT = "decodeURIComponent",
    DEFAULT = "default",
    DEFINE_PROPERTIES = "defineProperties",
    DEFINE_PROPERTY = "defineProperty",
    DELETE = "delete",
    DELETE_PROPERTY = "deleteProperty",
    DESCRIPTION = "description",
    DETACHED = "detached",
    DIFFERENCE = "difference",
    DONE = "done",
    ENCODE_URI = "encodeURI",
    ENCODE_URICOMPONENT = "encodeURIComponent",
    ENDS_WITH = "endsWith",
    ENTRIES = "entries",
    ENUMERABLE = "enumerable",
    ERRORS = "errors",
    EVERY = "every",
    EXP = "exp",
    EXPM1 = "expm1",
    F16ROUND = "f16round",
    FALSE = "false",
    FILL = "fill",
    FILTER = "filter",
    FIND = "find",
    FIND_INDEX = "findIndex",
    FIND_LAST = "findLast",
    FIND_LAST_INDEX = "findLastIndex",
    FLAGS = "flags",
    FLAT = "flat",
    FLAT_MAP = "flatMap",
    FLOOR = "floor",
    FOR = "for",
    FOR_EACH = "forEach",
    FREEZE = "freeze",
    FROM = "from",
    FROM_CHAR_CODE = "fromCharCode",
    FROM_CODE_POINT = "fromCodePoint",
    FROM_ENTRIES = "fromEntries",
    FROUND = "fround",
    FUNCTION = "function",
    GET = "get",
    GET_FLOAT16 = "getFloat16",
    GET_FLOAT32 = "getFloat32",
    GET_FLOAT64 = "getFloat64",
    GET_INT16 = "getInt16",
    GET_INT32 = "getInt32",
    GET_INT8 = "getInt8",
    GET_OR_INSERT = "getOrInsert",
    GET_OR_INSERT_COMPUTED = "getOrInsertComputed",
    GET_OWN_PROPERTY_DESCRIPTOR = "getOwnPropertyDescriptor",
    GET_OWN_PROPERTY_DESCRIPTORS = "getOwnPropertyDescriptors",
    GET_OWN_PROPERTY_NAMES = "getOwnPropertyNames",
    GET_OWN_PROPERTY_SYMBOLS = "getOwnPropertySymbols",
    GET_PROTOTYPE_OF = "getPrototypeOf",
    GET_UINT16 = "getUint16",
    GET_UINT32 = "getUint32",
    GET_UINT8 = "getUint8",
    GLOBAL_THIS = "globalThis",
    GROUP_BY = "groupBy",
    HAS = "has",
    HAS_INSTANCE = "hasInstance",
    HAS_OWN = "hasOwn",
    HAS_OWN_PROPERTY = "hasOwnProperty",
    HYPOT = "hypot",
    IMUL = "imul",
    INCLUDES = "includes",
    INDEX = "index",
    INDEX_OF = "indexOf",
    INPUT = "input",
    INTERSECTION = "intersection",
    IS = "is",
    IS_ARRAY = "isArray",
    IS_CONCAT_SPREADABLE = "isConcatSpreadable",
    IS_DISJOINT_FROM = "isDisjointFrom",
    IS_ERROR = "isError",
    IS_EXTENSIBLE = "isExtensible",
    IS_FINITE = "isFinite",
    IS_FROZEN = "isFrozen",
    IS_INTEGER = "isInteger",
    IS_NA_N = "isNaN",
    IS_PROTOTYPE_OF = "isPrototypeOf",
    IS_RAW_JSON = "isRawJSON",
    IS_SAFE_INTEGER = "isSafeInteger",
    IS_SEALED = "isSealed",
    IS_SUBSET_OF = "isSubsetOf",
    IS_SUPERSET_OF = "isSupersetOf",
    IS_VIEW = "isView",
    IS_WELL_FORMED = "isWellFormed",
    ITERATOR = "iterator",
    JOIN = "join",
    KEY_FOR = "keyFor",
    KEYS = "keys",
    LAST_INDEX_OF = "lastIndexOf",
    LENGTH = "length",
    LOCALE_COMPARE = "localeCompare",
    LOG = "log",
    LOG10 = "log10",
    LOG1P = "log1p",
    LOG2 = "log2",
    MAP = "map",
    MATCH = "match",
    MATCH_ALL = "matchAll",
    MAX = "max",
    MAX_BYTE_LENGTH = "maxByteLength",
    MESSAGE = "message",
    MIN = "min",
    NAME = "name",
    NEXT = "next",
    NORMALIZE = "normalize",
    NULL = "null",
    NUMBER = "number",
    OBJECT = "object",
    OF = "of",
    OWN_KEYS = "ownKeys",
    PAD_END = "padEnd",
    PAD_START = "padStart",
    PARSE = "parse",
    PARSE_FLOAT = "parseFloat",
    PARSE_INT = "parseInt",
    POP = "pop",
    POW = "pow",
    PREVENT_EXTENSIONS = "preventExtensions",
    PROPERTY_IS_ENUMERABLE = "propertyIsEnumerable",
    PROTOTYPE = "prototype",
    PUSH = "push",
    RANDOM = "random",
    RAW = "raw",
    RAW_JSON = "rawJSON",
    REDUCE = "reduce",
    REDUCE_RIGHT = "reduceRight",
    REPEAT = "repeat",
    REPLACE = "replace",
    REPLACE_ALL = "replaceAll",
    RESIZABLE = "resizable",
    RESIZE = "resize",
    RETURN = "return",
    REVERSE = "reverse",
    ROUND = "round",
    SEAL = "seal",
    SEARCH = "search",
    SENSOR = "sensor",
    SET = "set",
    SET_FLOAT16 = "setFloat16",
    SET_FLOAT32 = "setFloat32",
    SET_FLOAT64 = "setFloat64",
    SET_INT16 = "setInt16",
    SET_INT32 = "setInt32",
    SET_INT8 = "setInt8",
    SET_INTERVAL = "setInterval",
    SET_PROTOTYPE_OF = "setPrototypeOf",
    SET_TIMEOUT = "setTimeout",
    SET_UINT16 = "setUint16",
    SET_UINT32 = "setUint32",
    SET_UINT8 = "setUint8",
    SHIFT = "shift",
    SIGN = "sign",
    SIN = "sin",
    SINH = "sinh",
    SIZE = "size",
    SLICE = "slice",
    SOME = "some",
    SORT = "sort",
    SOURCE = "source",
    SPECIES = "species",
    SPLICE = "splice",
    SPLIT = "split",
    SQRT = "sqrt",
    STACK = "stack",
    STARTS_WITH = "startsWith",
    STRING = "string",
    STRINGIFY = "stringify",
    SUBARRAY = "subarray",
    SUBSTR = "substr",
    SUBSTRING = "substring",
    SUM_PRECISE = "sumPrecise",
    SYMBOL = "symbol",
    SYMMETRIC_DIFFERENCE = "symmetricDifference",
    TAN = "tan",
    TANH = "tanh",
    TO_EXPONENTIAL = "toExponential",
    TO_FIXED = "toFixed",
    TO_JSON = "toJSON",
    TO_LOCALE_LOWER_CASE = "toLocaleLowerCase",
    TO_LOCALE_STRING = "toLocaleString",
    TO_LOCALE_UPPER_CASE = "toLocaleUpperCase",
    TO_LOWER_CASE = "toLowerCase",
    TO_PRECISION = "toPrecision",
    TO_PRIMITIVE = "toPrimitive",
    TO_REVERSED = "toReversed",
    TO_SORTED = "toSorted",
    TO_SPLICED = "toSpliced",
    TO_STRING = "toString",
    TO_STRING_TAG = "toStringTag",
    TO_UPPER_CASE = "toUpperCase",
    TO_WELL_FORMED = "toWellFormed",
    TRANSFER = "transfer",
    TRANSFER_TO_FIXED_LENGTH = "transferToFixedLength",
    TRIM = "trim",
    TRIM_END = "trimEnd",
    TRIM_LEFT = "trimLeft",
    TRIM_RIGHT = "trimRight",
    TRIM_START = "trimStart",
    TRUE = "true",
    TRUNC = "trunc",
    UNDEFINED = "undefined",
    UNION = "union",
    UNSCOPABLES = "unscopables",
    UNSHIFT = "unshift",
    VALUE = "value",
    VALUE_OF = "valueOf",
    VALUES = "values",
    WITH = "with",
    WRITABLE = "writable",
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_sorted_and_found() {
        for pair in TEXTS.windows(2) {
            assert!(pair[0].as_bytes() < pair[1].as_bytes(), "{pair:?}");
        }
        for number in 0..COUNT {
            let name = NameId::new(number).unwrap();
            assert!(name.text().is_ascii());
            let is_symbol = name.text().starts_with("Symbol.");
            assert_eq!(name.is_symbol(), is_symbol, "{}", name.text());
            assert_eq!(find(name.text().as_bytes()), (!is_symbol).then_some(name));
        }
        assert_eq!(find(b"no such name"), None);
        assert_eq!(LENGTH.text(), "length");
    }
}
