//! The globals of the standard that the machine does not have.
//!
//! The compiler cannot know them: a name that nothing declares may be the host's. A
//! test that does not pass and names one of them lies outside the language; one that
//! passes all the same has passed. A missing *method* is no gap but a failure: what
//! is offered at all is to be offered whole.

use scruple_bytecode::image::{Constant, GlobalKind, Image};
use scruple_bytecode::operand::GlobalId;
use scruple_vm::{Layout, Options, Vm};

use super::run::Listener;

/// What the standard puts on the global object: ECMA-262, "The Global Object", all
/// of its subclauses; "Additional Properties of the Global Object" of its annex B;
/// ECMA-402's `Intl`. `Temporal` and `ShadowRealm` are proposals that the suite tests.
const STANDARD: &[&str] = &[
    "globalThis",
    "Infinity",
    "NaN",
    "eval",
    "isFinite",
    "isNaN",
    "parseFloat",
    "parseInt",
    "decodeURI",
    "decodeURIComponent",
    "encodeURI",
    "encodeURIComponent",
    "AggregateError",
    "Array",
    "ArrayBuffer",
    "AsyncDisposableStack",
    "BigInt",
    "BigInt64Array",
    "BigUint64Array",
    "Boolean",
    "DataView",
    "Date",
    "DisposableStack",
    "Error",
    "EvalError",
    "FinalizationRegistry",
    "Float16Array",
    "Float32Array",
    "Float64Array",
    "Function",
    "Int8Array",
    "Int16Array",
    "Int32Array",
    "Iterator",
    "Map",
    "Number",
    "Object",
    "Promise",
    "Proxy",
    "RangeError",
    "ReferenceError",
    "RegExp",
    "Set",
    "SharedArrayBuffer",
    "String",
    "SuppressedError",
    "Symbol",
    "SyntaxError",
    "TypeError",
    "Uint8Array",
    "Uint8ClampedArray",
    "Uint16Array",
    "Uint32Array",
    "URIError",
    "WeakMap",
    "WeakRef",
    "WeakSet",
    "Atomics",
    "JSON",
    "Math",
    "Reflect",
    "escape",
    "unescape",
    "Intl",
    "Temporal",
    "ShadowRealm",
];

/// The globals of the standard that the machine lacks, as it says itself.
pub fn missing_globals<L: Layout>(slots: usize) -> Vec<&'static str> {
    let mut region = vec![L::Slot::default(); slots];
    let mut vm: Vm<'_, L, Listener> = Vm::new(&mut region, Listener::default(), Options::default());
    STANDARD
        .iter()
        .copied()
        .filter(|name| vm.global(name).is_ok_and(|value| value.is_undefined()))
        .collect()
}

/// The globals that an image names and does not declare.
pub fn named_globals(image: &[u8]) -> Vec<String> {
    let Ok(image) = Image::open(image) else { return Vec::new() };
    (0..image.n_globals())
        .filter_map(|at| image.global(GlobalId::new(at)?))
        .filter(|(kind, _)| *kind == GlobalKind::Undeclared)
        .filter_map(|(_, field)| match image.constant(field.into())? {
            Constant::Name(name) => Some(name.text().to_owned()),
            Constant::Text(text) => Some(text.to_string()),
            Constant::Number(_) => None,
        })
        .collect()
}
