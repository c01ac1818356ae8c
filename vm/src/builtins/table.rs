//! The tables in flash: which intrinsics there are, and their properties.
//!
//! Rows of one owner stand together, owners in the order of [`Intrinsic`], rows
//! sorted by name: the build refuses anything else.

use core::f64::consts;
use core::marker::PhantomData;

use super::{DataRow, FlashValue, NativeFn, NativeKind, NativeRow, sorted};
use super::{console, error, function};
use crate::Host;
use crate::keys::attributes::HIDDEN;
use crate::layout::Layout;
use crate::value::Ref;
use scruple_bytecode::names;

macro_rules! intrinsics {
    ($($(#[doc = $doc:literal])? $name:ident: $prototype:ident;)*) => {
        /// An intrinsic object (ECMA-262, "Well-Known Intrinsic Objects").
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        #[repr(u16)]
        pub(crate) enum Intrinsic { $($name),* }

        impl Intrinsic {
            const ALL: &'static [Intrinsic] = &[$(Intrinsic::$name),*];
            const PROTOTYPES: &'static [Ref] = &[$(intrinsics!(@prototype $prototype)),*];
        }
    };
    (@prototype nothing) => { Ref::NONE };
    (@prototype $name:ident) => { Intrinsic::$name.reference() };
}

intrinsics! {
    GlobalObject: ObjectPrototype;
    ObjectPrototype: nothing;
    FunctionPrototype: ObjectPrototype;
    ArrayPrototype: ObjectPrototype;
    StringPrototype: ObjectPrototype;
    NumberPrototype: ObjectPrototype;
    BooleanPrototype: ObjectPrototype;
    ErrorPrototype: ObjectPrototype;
    EvalErrorPrototype: ErrorPrototype;
    RangeErrorPrototype: ErrorPrototype;
    ReferenceErrorPrototype: ErrorPrototype;
    SyntaxErrorPrototype: ErrorPrototype;
    TypeErrorPrototype: ErrorPrototype;
    UriErrorPrototype: ErrorPrototype;
    Object: FunctionPrototype;
    Function: FunctionPrototype;
    Array: FunctionPrototype;
    String: FunctionPrototype;
    Number: FunctionPrototype;
    Boolean: FunctionPrototype;
    Error: FunctionPrototype;
    EvalError: Error;
    RangeError: Error;
    ReferenceError: Error;
    SyntaxError: Error;
    TypeError: Error;
    UriError: Error;
    Math: ObjectPrototype;
    Json: ObjectPrototype;
    Console: ObjectPrototype;
}

impl Intrinsic {
    pub(crate) const COUNT: usize = Intrinsic::ALL.len();

    pub(crate) const fn reference(self) -> Ref {
        Ref::from_flash(self as usize)
    }

    pub(crate) fn from_number(number: usize) -> Option<Intrinsic> {
        Intrinsic::ALL.get(number).copied()
    }

    pub(crate) fn prototype(self) -> Ref {
        Intrinsic::PROTOTYPES[self as usize]
    }
}

/// What the functions of the rows do, in the rows' order.
pub(super) struct Handlers<L, H>(PhantomData<(L, H)>);

macro_rules! natives {
    ($($owner:ident {
        $($name:ident $length:literal $handler:path $(, $kind:ident $($of:ident)?)?;)*
    })*) => {
        pub(super) static NATIVES: &[NativeRow] = &[$($(
            NativeRow {
                owner: Intrinsic::$owner,
                name: names::$name,
                length: $length,
                kind: natives!(@kind $($kind $($of)?)?),
            },
        )*)*];

        impl<L: Layout, H: Host> Handlers<L, H> {
            pub(super) const ALL: &'static [NativeFn<L, H>] = &[$($($handler,)*)*];
        }
    };
    (@kind) => { NativeKind::Method };
    (@kind getter) => { NativeKind::Getter };
    (@kind constructs $of:ident) => { NativeKind::Constructor(Intrinsic::$of) };
}

natives! {
    GlobalObject {
        ERROR 1 error::construct, constructs Error;
        EVAL_ERROR 1 error::construct, constructs EvalError;
        FUNCTION_CTOR 1 function::construct, constructs Function;
        RANGE_ERROR 1 error::construct, constructs RangeError;
        REFERENCE_ERROR 1 error::construct, constructs ReferenceError;
        SYNTAX_ERROR 1 error::construct, constructs SyntaxError;
        TYPE_ERROR 1 error::construct, constructs TypeError;
        URIERROR 1 error::construct, constructs UriError;
    }
    FunctionPrototype {
        APPLY 2 function::apply;
        BIND 1 function::bind;
        CALL 1 function::call;
        TO_STRING 0 function::to_string;
    }
    ErrorPrototype {
        TO_STRING 0 error::to_string;
    }
    Console {
        LOG 0 console::log;
    }
}

macro_rules! data {
    ($($owner:ident { $($name:ident $attributes:tt $kind:ident $($value:expr)?;)* })*) => {
        pub(super) static DATA: &[DataRow] = &[$($(
            DataRow {
                owner: Intrinsic::$owner,
                name: names::$name,
                value: data!(@value $kind $($value)?),
                attributes: $attributes,
            },
        )*)*];
    };
    (@value undefined) => { FlashValue::Undefined };
    (@value number $value:expr) => { FlashValue::Number($value) };
    (@value text $value:expr) => { FlashValue::Text($value) };
    (@value object $value:expr) => { FlashValue::Object($value) };
    (@value method $value:expr) => { FlashValue::Method($value.0, $value.1) };
}

data! {
    GlobalObject {
        INFINITY 0 number f64::INFINITY;
        NA_N 0 number f64::NAN;
        CONSOLE HIDDEN object Intrinsic::Console;
        GLOBAL_THIS HIDDEN object Intrinsic::GlobalObject;
        UNDEFINED 0 undefined;
    }
    FunctionPrototype {
        CONSTRUCTOR HIDDEN object Intrinsic::Function;
    }
    ErrorPrototype {
        CONSTRUCTOR HIDDEN object Intrinsic::Error;
        MESSAGE HIDDEN text names::EMPTY;
        NAME HIDDEN text names::ERROR;
    }
    EvalErrorPrototype {
        CONSTRUCTOR HIDDEN object Intrinsic::EvalError;
        MESSAGE HIDDEN text names::EMPTY;
        NAME HIDDEN text names::EVAL_ERROR;
    }
    RangeErrorPrototype {
        CONSTRUCTOR HIDDEN object Intrinsic::RangeError;
        MESSAGE HIDDEN text names::EMPTY;
        NAME HIDDEN text names::RANGE_ERROR;
    }
    ReferenceErrorPrototype {
        CONSTRUCTOR HIDDEN object Intrinsic::ReferenceError;
        MESSAGE HIDDEN text names::EMPTY;
        NAME HIDDEN text names::REFERENCE_ERROR;
    }
    SyntaxErrorPrototype {
        CONSTRUCTOR HIDDEN object Intrinsic::SyntaxError;
        MESSAGE HIDDEN text names::EMPTY;
        NAME HIDDEN text names::SYNTAX_ERROR;
    }
    TypeErrorPrototype {
        CONSTRUCTOR HIDDEN object Intrinsic::TypeError;
        MESSAGE HIDDEN text names::EMPTY;
        NAME HIDDEN text names::TYPE_ERROR;
    }
    UriErrorPrototype {
        CONSTRUCTOR HIDDEN object Intrinsic::UriError;
        MESSAGE HIDDEN text names::EMPTY;
        NAME HIDDEN text names::URIERROR;
    }
    Function {
        PROTOTYPE 0 object Intrinsic::FunctionPrototype;
    }
    Error {
        PROTOTYPE 0 object Intrinsic::ErrorPrototype;
    }
    EvalError {
        PROTOTYPE 0 object Intrinsic::EvalErrorPrototype;
    }
    RangeError {
        PROTOTYPE 0 object Intrinsic::RangeErrorPrototype;
    }
    ReferenceError {
        PROTOTYPE 0 object Intrinsic::ReferenceErrorPrototype;
    }
    SyntaxError {
        PROTOTYPE 0 object Intrinsic::SyntaxErrorPrototype;
    }
    TypeError {
        PROTOTYPE 0 object Intrinsic::TypeErrorPrototype;
    }
    UriError {
        PROTOTYPE 0 object Intrinsic::UriErrorPrototype;
    }
}

/// First row of each owner, and one behind its last.
pub(super) static NATIVE_RANGES: [(u16, u16); Intrinsic::COUNT] = native_ranges();
pub(super) static DATA_RANGES: [(u16, u16); Intrinsic::COUNT] = data_ranges();
/// The row of the function that an intrinsic is, or the largest number.
pub(super) static FUNCTION_ROWS: [u16; Intrinsic::COUNT] = function_rows();

const fn native_ranges() -> [(u16, u16); Intrinsic::COUNT] {
    let mut ranges = [(0, 0); Intrinsic::COUNT];
    let mut at = 0;
    while at < NATIVES.len() {
        let owner = NATIVES[at].owner as usize;
        if at > 0 {
            let before = &NATIVES[at - 1];
            assert!(sorted(owner, before.owner as usize, NATIVES[at].name, before.name));
        }
        if ranges[owner].1 == 0 {
            ranges[owner].0 = at as u16;
        }
        ranges[owner].1 = at as u16 + 1;
        at += 1;
    }
    ranges
}

const fn data_ranges() -> [(u16, u16); Intrinsic::COUNT] {
    let mut ranges = [(0, 0); Intrinsic::COUNT];
    let mut at = 0;
    while at < DATA.len() {
        let owner = DATA[at].owner as usize;
        if at > 0 {
            let before = &DATA[at - 1];
            assert!(sorted(owner, before.owner as usize, DATA[at].name, before.name));
        }
        if ranges[owner].1 == 0 {
            ranges[owner].0 = at as u16;
        }
        ranges[owner].1 = at as u16 + 1;
        at += 1;
    }
    ranges
}

const fn function_rows() -> [u16; Intrinsic::COUNT] {
    let mut rows = [u16::MAX; Intrinsic::COUNT];
    let mut at = 0;
    while at < NATIVES.len() {
        if let NativeKind::Constructor(intrinsic) = NATIVES[at].kind {
            rows[intrinsic as usize] = at as u16;
        }
        at += 1;
    }
    rows
}

const _: () = assert!(Intrinsic::COUNT + NATIVES.len() < Ref::FIRST_HOST as usize - 1);
