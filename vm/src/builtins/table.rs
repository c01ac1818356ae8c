//! The tables in flash: which intrinsics there are, and their properties.
//!
//! Rows of one owner stand together, owners in the order of [`Intrinsic`], rows
//! sorted by name: the build refuses anything else.

use core::f64::consts;
use core::marker::PhantomData;

use super::buffers::{buffer, change, copy, data_view, typed, visit};
use super::collections::{self, algebra, map, set, walk, weak};
use super::{DataRow, FlashValue, NativeFn, NativeKind, NativeRow, sorted};
use super::{
    array, boolean, console, descriptor, error, function, global, integrity, iterators, json, math,
    number, object, object_prototype, reflect, string, sum, symbol, uri,
};
use crate::Host;
use crate::error::Raise;
use crate::host::{Call, Families};
use crate::keys::attributes::{ALL, CONFIGURABLE, HIDDEN, WRITABLE};
use crate::layout::Layout;
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::names;

macro_rules! intrinsics {
    ($($(#[doc = $doc:literal])? $name:ident: $prototype:ident;)*) => {
        /// An intrinsic object (ECMA-262, "Well-Known Intrinsic Objects").
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        #[repr(u8)]
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
    AggregateErrorPrototype: ErrorPrototype;
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
    AggregateError: Error;
    EvalError: Error;
    RangeError: Error;
    ReferenceError: Error;
    SyntaxError: Error;
    TypeError: Error;
    UriError: Error;
    Math: ObjectPrototype;
    Json: ObjectPrototype;
    Reflect: ObjectPrototype;
    ArrayUnscopables: nothing;
    Console: ObjectPrototype;
    ThrowTypeError: FunctionPrototype;
    MapPrototype: ObjectPrototype;
    SetPrototype: ObjectPrototype;
    WeakMapPrototype: ObjectPrototype;
    WeakSetPrototype: ObjectPrototype;
    Map: FunctionPrototype;
    Set: FunctionPrototype;
    WeakMap: FunctionPrototype;
    WeakSet: FunctionPrototype;
    SymbolPrototype: ObjectPrototype;
    Symbol: FunctionPrototype;
    IteratorPrototype: ObjectPrototype;
    ArrayIteratorPrototype: IteratorPrototype;
    StringIteratorPrototype: IteratorPrototype;
    MapIteratorPrototype: IteratorPrototype;
    SetIteratorPrototype: IteratorPrototype;
    ArrayBufferPrototype: ObjectPrototype;
    DataViewPrototype: ObjectPrototype;
    TypedArrayPrototype: ObjectPrototype;
    Int8ArrayPrototype: TypedArrayPrototype;
    Uint8ArrayPrototype: TypedArrayPrototype;
    Uint8ClampedArrayPrototype: TypedArrayPrototype;
    Int16ArrayPrototype: TypedArrayPrototype;
    Uint16ArrayPrototype: TypedArrayPrototype;
    Int32ArrayPrototype: TypedArrayPrototype;
    Uint32ArrayPrototype: TypedArrayPrototype;
    Float16ArrayPrototype: TypedArrayPrototype;
    Float32ArrayPrototype: TypedArrayPrototype;
    Float64ArrayPrototype: TypedArrayPrototype;
    ArrayBuffer: FunctionPrototype;
    DataView: FunctionPrototype;
    TypedArray: FunctionPrototype;
    Int8Array: TypedArray;
    Uint8Array: TypedArray;
    Uint8ClampedArray: TypedArray;
    Int16Array: TypedArray;
    Uint16Array: TypedArray;
    Int32Array: TypedArray;
    Uint32Array: TypedArray;
    Float16Array: TypedArray;
    Float32Array: TypedArray;
    Float64Array: TypedArray;
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

/// Chosen while the machine is compiled: what is not chosen is not in its flash.
const fn choose<F: Copy>(keep: bool, handler: F, absent: F) -> F {
    if keep { handler } else { absent }
}

/// Whether a build has the built-ins of an owner.
const fn has(families: Families, owner: Intrinsic) -> bool {
    match owner {
        Intrinsic::Array | Intrinsic::ArrayPrototype => families.arrays,
        Intrinsic::ArrayIteratorPrototype => families.arrays,
        Intrinsic::String | Intrinsic::StringPrototype => families.strings,
        Intrinsic::StringIteratorPrototype => families.strings,
        Intrinsic::Math => families.maths,
        Intrinsic::Json => families.json,
        Intrinsic::Reflect => families.reflect,
        Intrinsic::Map
        | Intrinsic::MapPrototype
        | Intrinsic::Set
        | Intrinsic::SetPrototype
        | Intrinsic::WeakMap
        | Intrinsic::WeakMapPrototype
        | Intrinsic::WeakSet
        | Intrinsic::MapIteratorPrototype
        | Intrinsic::SetIteratorPrototype
        | Intrinsic::WeakSetPrototype => families.collections,
        buffers
            if buffers as usize >= Intrinsic::ArrayBufferPrototype as usize
                && buffers as usize <= Intrinsic::Float64Array as usize =>
        {
            families.buffers
        }
        _ => true,
    }
}

/// Whether a build has a function: what makes arrays and strings it has always.
const fn has_row(families: Families, row: &NativeRow) -> bool {
    match row.kind {
        NativeKind::Constructor(Intrinsic::Array | Intrinsic::String) => true,
        NativeKind::Constructor(made) => has(families, made),
        _ => has(families, row.owner),
    }
}

/// What is called in the place of a built-in that was left out.
fn absent<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, _: Call<L>) -> Result<Value<L>, Raise> {
    Err(vm.throw_type("this build was made without that built-in"))
}

macro_rules! natives {
    ($($owner:ident {
        $($name:ident $length:literal $handler:path $(, $kind:ident $($of:ident)?)?;)*
    })*) => {
        pub(super) static NATIVES: &[NativeRow] = &[$($(
            natives!(@row $owner $name $length $($kind $($of)?)?),
        )*)*];

        impl<L: Layout, H: Host> Handlers<L, H> {
            pub(super) const ALL: &'static [NativeFn<L, H>] = &[$($(
                choose(has_row(H::FAMILIES, &natives!(@row $owner $name $length $($kind $($of)?)?)), $handler, absent),
            )*)*];
        }
    };
    (@row $owner:ident $name:ident $length:literal $($kind:ident $($of:ident)?)?) => {
        NativeRow {
            owner: Intrinsic::$owner,
            name: names::$name,
            length: $length,
            kind: natives!(@kind $($kind $($of)?)?),
        }
    };
    (@kind) => { NativeKind::Method };
    (@kind gets) => { NativeKind::Getter };
    (@kind sets) => { NativeKind::Setter };
    (@kind constructs $of:ident) => { NativeKind::Constructor(Intrinsic::$of) };
}

natives! {
    GlobalObject {
        AGGREGATE_ERROR 2 error::construct_aggregate, constructs AggregateError;
        ARRAY 1 array::make::construct, constructs Array;
        ARRAY_BUFFER 1 buffer::construct, constructs ArrayBuffer;
        BOOLEAN_CTOR 1 boolean::construct, constructs Boolean;
        DATA_VIEW 1 data_view::construct, constructs DataView;
        ERROR 1 error::construct, constructs Error;
        EVAL_ERROR 1 error::construct, constructs EvalError;
        FLOAT16_ARRAY 3 typed::construct, constructs Float16Array;
        FLOAT32_ARRAY 3 typed::construct, constructs Float32Array;
        FLOAT64_ARRAY 3 typed::construct, constructs Float64Array;
        FUNCTION_CTOR 1 function::construct, constructs Function;
        INT16_ARRAY 3 typed::construct, constructs Int16Array;
        INT32_ARRAY 3 typed::construct, constructs Int32Array;
        INT8_ARRAY 3 typed::construct, constructs Int8Array;
        MAP_CTOR 0 collections::construct, constructs Map;
        NUMBER_CTOR 1 number::construct, constructs Number;
        OBJECT_CTOR 1 object::construct, constructs Object;
        RANGE_ERROR 1 error::construct, constructs RangeError;
        REFERENCE_ERROR 1 error::construct, constructs ReferenceError;
        SET_CTOR 0 collections::construct, constructs Set;
        STRING_CTOR 1 string::construct, constructs String;
        SYMBOL_CTOR 0 symbol::construct, constructs Symbol;
        SYNTAX_ERROR 1 error::construct, constructs SyntaxError;
        TYPE_ERROR 1 error::construct, constructs TypeError;
        URIERROR 1 error::construct, constructs UriError;
        UINT16_ARRAY 3 typed::construct, constructs Uint16Array;
        UINT32_ARRAY 3 typed::construct, constructs Uint32Array;
        UINT8_ARRAY 3 typed::construct, constructs Uint8Array;
        UINT8_CLAMPED_ARRAY 3 typed::construct, constructs Uint8ClampedArray;
        WEAK_MAP 0 collections::construct, constructs WeakMap;
        WEAK_SET 0 collections::construct, constructs WeakSet;
        DECODE_URI 1 uri::decode_uri;
        DECODE_URICOMPONENT 1 uri::decode_uri_component;
        ENCODE_URI 1 uri::encode_uri;
        ENCODE_URICOMPONENT 1 uri::encode_uri_component;
        IS_FINITE 1 global::is_finite;
        IS_NA_N 1 global::is_nan;
        PARSE_FLOAT 1 global::parse_float;
        PARSE_INT 2 global::parse_int;
    }
    ObjectPrototype {
        __DEFINE_GETTER__ 2 object_prototype::define_getter;
        __DEFINE_SETTER__ 2 object_prototype::define_setter;
        __LOOKUP_GETTER__ 1 object_prototype::lookup_getter;
        __LOOKUP_SETTER__ 1 object_prototype::lookup_setter;
        __PROTO__ 0 object_prototype::get_proto, gets;
        __PROTO__ 1 object_prototype::set_proto, sets;
        HAS_OWN_PROPERTY 1 object_prototype::has_own_property;
        IS_PROTOTYPE_OF 1 object_prototype::is_prototype_of;
        PROPERTY_IS_ENUMERABLE 1 object_prototype::property_is_enumerable;
        TO_LOCALE_STRING 0 object_prototype::to_locale_string;
        TO_STRING 0 object_prototype::to_string;
        VALUE_OF 0 object_prototype::value_of;
    }
    FunctionPrototype {
        SYMBOL_HAS_INSTANCE 1 function::has_instance;
        APPLY 2 function::apply;
        BIND 1 function::bind;
        CALL 1 function::call;
        TO_STRING 0 function::to_string;
    }
    ArrayPrototype {
        AT 1 array::change::at;
        CONCAT 1 array::part::concat;
        COPY_WITHIN 2 array::change::copy_within;
        ENTRIES 0 iterators::entries;
        EVERY 1 array::visit::every;
        FILL 1 array::change::fill;
        FILTER 1 array::visit::filter;
        FIND 1 array::visit::find;
        FIND_INDEX 1 array::visit::find_index;
        FIND_LAST 1 array::visit::find_last;
        FIND_LAST_INDEX 1 array::visit::find_last_index;
        FLAT 0 array::part::flat;
        FLAT_MAP 1 array::part::flat_map;
        FOR_EACH 1 array::visit::for_each;
        INCLUDES 1 array::search::includes;
        INDEX_OF 1 array::search::index_of;
        JOIN 1 array::search::join;
        KEYS 0 iterators::keys;
        LAST_INDEX_OF 1 array::search::last_index_of;
        MAP 1 array::visit::map;
        POP 0 array::ends::pop;
        PUSH 1 array::ends::push;
        REDUCE 1 array::visit::reduce;
        REDUCE_RIGHT 1 array::visit::reduce_right;
        REVERSE 0 array::change::reverse;
        SHIFT 0 array::ends::shift;
        SLICE 2 array::part::slice;
        SOME 1 array::visit::some;
        SORT 1 array::sort::sort;
        SPLICE 2 array::change::splice;
        TO_LOCALE_STRING 0 array::search::to_locale_string;
        TO_REVERSED 0 array::copy::to_reversed;
        TO_SORTED 1 array::sort::to_sorted;
        TO_SPLICED 2 array::copy::to_spliced;
        TO_STRING 0 array::search::to_string;
        UNSHIFT 1 array::ends::unshift;
        VALUES 0 iterators::values;
        WITH 2 array::copy::with;
    }
    StringPrototype {
        SYMBOL_ITERATOR 0 iterators::of_text;
        AT 1 string::at;
        CHAR_AT 1 string::char_at;
        CHAR_CODE_AT 1 string::char_code_at;
        CODE_POINT_AT 1 string::code_point_at;
        CONCAT 1 string::shape::concat;
        ENDS_WITH 1 string::search::ends_with;
        INCLUDES 1 string::search::includes;
        INDEX_OF 1 string::search::index_of;
        IS_WELL_FORMED 0 string::form::is_well_formed;
        LAST_INDEX_OF 1 string::search::last_index_of;
        LOCALE_COMPARE 1 string::search::locale_compare;
        MATCH 1 string::pattern::matches;
        MATCH_ALL 1 string::pattern::match_all;
        NORMALIZE 0 string::form::normalize;
        PAD_END 1 string::shape::pad_end;
        PAD_START 1 string::shape::pad_start;
        REPEAT 1 string::shape::repeat;
        REPLACE 2 string::search::replace;
        REPLACE_ALL 2 string::search::replace_all;
        SEARCH 1 string::pattern::search;
        SLICE 2 string::shape::slice;
        SPLIT 2 string::search::split;
        STARTS_WITH 1 string::search::starts_with;
        SUBSTR 2 string::shape::substr;
        SUBSTRING 2 string::shape::substring;
        TO_LOCALE_LOWER_CASE 0 string::case::to_lower_case;
        TO_LOCALE_UPPER_CASE 0 string::case::to_upper_case;
        TO_LOWER_CASE 0 string::case::to_lower_case;
        TO_STRING 0 string::value_of;
        TO_UPPER_CASE 0 string::case::to_upper_case;
        TO_WELL_FORMED 0 string::form::to_well_formed;
        TRIM 0 string::shape::trim;
        TRIM_END 0 string::shape::trim_end;
        TRIM_START 0 string::shape::trim_start;
        VALUE_OF 0 string::value_of;
    }
    NumberPrototype {
        TO_EXPONENTIAL 1 number::to_exponential;
        TO_FIXED 1 number::to_fixed;
        TO_LOCALE_STRING 0 number::to_locale_string;
        TO_PRECISION 1 number::to_precision;
        TO_STRING 1 number::to_string;
        VALUE_OF 0 number::value_of;
    }
    BooleanPrototype {
        TO_STRING 0 boolean::to_string;
        VALUE_OF 0 boolean::value_of;
    }
    ErrorPrototype {
        TO_STRING 0 error::to_string;
    }
    Object {
        ASSIGN 2 object::assign;
        CREATE 2 object::create;
        DEFINE_PROPERTIES 2 descriptor::define_properties;
        DEFINE_PROPERTY 3 descriptor::define_property;
        ENTRIES 1 object::entries;
        FREEZE 1 integrity::freeze;
        FROM_ENTRIES 1 object::from_entries;
        GET_OWN_PROPERTY_DESCRIPTOR 2 descriptor::get_own_property_descriptor;
        GET_OWN_PROPERTY_DESCRIPTORS 1 descriptor::get_own_property_descriptors;
        GET_OWN_PROPERTY_NAMES 1 object::get_own_property_names;
        GET_OWN_PROPERTY_SYMBOLS 1 object::get_own_property_symbols;
        GET_PROTOTYPE_OF 1 object::get_prototype_of;
        GROUP_BY 2 object::group_by;
        HAS_OWN 2 object::has_own;
        IS 2 object::is;
        IS_EXTENSIBLE 1 integrity::is_extensible;
        IS_FROZEN 1 integrity::is_frozen;
        IS_SEALED 1 integrity::is_sealed;
        KEYS 1 object::keys;
        PREVENT_EXTENSIONS 1 integrity::prevent_extensions;
        SEAL 1 integrity::seal;
        SET_PROTOTYPE_OF 2 object::set_prototype_of;
        VALUES 1 object::values;
    }
    Array {
        SYMBOL_SPECIES 0 iterators::itself, gets;
        FROM 1 array::make::from;
        IS_ARRAY 1 array::make::is_array;
        OF 0 array::make::of;
    }
    String {
        FROM_CHAR_CODE 1 string::from_char_code;
        FROM_CODE_POINT 1 string::from_code_point;
        RAW 1 string::form::raw;
    }
    Number {
        IS_FINITE 1 number::is_finite;
        IS_INTEGER 1 number::is_integer;
        IS_NA_N 1 number::is_nan;
        IS_SAFE_INTEGER 1 number::is_safe_integer;
    }
    Error {
        IS_ERROR 1 error::is_error;
    }
    Math {
        ABS 1 math::abs;
        ACOS 1 math::acos;
        ACOSH 1 math::acosh;
        ASIN 1 math::asin;
        ASINH 1 math::asinh;
        ATAN 1 math::atan;
        ATAN2 2 math::atan2;
        ATANH 1 math::atanh;
        CBRT 1 math::cbrt;
        CEIL 1 math::ceil;
        CLZ32 1 math::clz32;
        COS 1 math::cos;
        COSH 1 math::cosh;
        EXP 1 math::exp;
        EXPM1 1 math::expm1;
        F16ROUND 1 math::f16round;
        FLOOR 1 math::floor;
        FROUND 1 math::fround;
        HYPOT 2 math::hypot;
        IMUL 2 math::imul;
        LOG 1 math::log;
        LOG10 1 math::log10;
        LOG1P 1 math::log1p;
        LOG2 1 math::log2;
        MAX 2 math::max;
        MIN 2 math::min;
        POW 2 math::pow;
        RANDOM 0 math::random;
        ROUND 1 math::round;
        SIGN 1 math::sign;
        SIN 1 math::sin;
        SINH 1 math::sinh;
        SQRT 1 math::sqrt;
        SUM_PRECISE 1 sum::sum_precise;
        TAN 1 math::tan;
        TANH 1 math::tanh;
        TRUNC 1 math::trunc;
    }
    Json {
        IS_RAW_JSON 1 json::is_raw_json;
        PARSE 2 json::parse;
        RAW_JSON 1 json::raw_json;
        STRINGIFY 3 json::stringify;
    }
    Reflect {
        APPLY 3 reflect::apply;
        CONSTRUCT 2 reflect::construct;
        DEFINE_PROPERTY 3 reflect::define_property;
        DELETE_PROPERTY 2 reflect::delete_property;
        GET 2 reflect::get;
        GET_OWN_PROPERTY_DESCRIPTOR 2 reflect::get_own_property_descriptor;
        GET_PROTOTYPE_OF 1 reflect::get_prototype_of;
        HAS 2 reflect::has;
        IS_EXTENSIBLE 1 reflect::is_extensible;
        OWN_KEYS 1 reflect::own_keys;
        PREVENT_EXTENSIONS 1 reflect::prevent_extensions;
        SET 3 reflect::set;
        SET_PROTOTYPE_OF 2 reflect::set_prototype_of;
    }
    Console {
        LOG 0 console::log;
    }
    MapPrototype {
        CLEAR 0 map::clear;
        DELETE 1 map::delete;
        ENTRIES 0 walk::map_entries;
        FOR_EACH 1 map::for_each;
        GET 1 map::get;
        GET_OR_INSERT 2 map::get_or_insert_value;
        GET_OR_INSERT_COMPUTED 2 map::get_or_insert_computed;
        HAS 1 map::has;
        KEYS 0 walk::map_keys;
        SET 2 map::set;
        SIZE 0 map::size, gets;
        VALUES 0 walk::map_values;
    }
    SetPrototype {
        ADD 1 set::add;
        CLEAR 0 set::clear;
        DELETE 1 set::delete;
        DIFFERENCE 1 algebra::difference;
        ENTRIES 0 walk::set_entries;
        FOR_EACH 1 set::for_each;
        HAS 1 set::has;
        INTERSECTION 1 algebra::intersection;
        IS_DISJOINT_FROM 1 algebra::is_disjoint_from;
        IS_SUBSET_OF 1 algebra::is_subset_of;
        IS_SUPERSET_OF 1 algebra::is_superset_of;
        SIZE 0 set::size, gets;
        SYMMETRIC_DIFFERENCE 1 algebra::symmetric_difference;
        UNION 1 algebra::union;
        VALUES 0 walk::set_values;
    }
    WeakMapPrototype {
        DELETE 1 weak::delete_from_map;
        GET 1 weak::get;
        GET_OR_INSERT 2 weak::get_or_insert_value;
        GET_OR_INSERT_COMPUTED 2 weak::get_or_insert_computed;
        HAS 1 weak::map_has;
        SET 2 weak::set;
    }
    WeakSetPrototype {
        ADD 1 weak::add;
        DELETE 1 weak::delete_from_set;
        HAS 1 weak::set_has;
    }
    Map {
        SYMBOL_SPECIES 0 iterators::itself, gets;
        GROUP_BY 2 map::group_by;
    }
    Set {
        SYMBOL_SPECIES 0 iterators::itself, gets;
    }
    SymbolPrototype {
        SYMBOL_TO_PRIMITIVE 1 symbol::value_of;
        DESCRIPTION 0 symbol::description, gets;
        TO_STRING 0 symbol::to_string;
        VALUE_OF 0 symbol::value_of;
    }
    Symbol {
        FOR 1 symbol::for_key;
        KEY_FOR 1 symbol::key_for;
    }
    IteratorPrototype {
        SYMBOL_ITERATOR 0 iterators::itself;
        SYMBOL_TO_STRING_TAG 0 iterators::get_tag, gets;
        SYMBOL_TO_STRING_TAG 1 iterators::set_tag, sets;
    }
    ArrayIteratorPrototype {
        NEXT 0 iterators::next_of_array;
    }
    StringIteratorPrototype {
        NEXT 0 iterators::next_of_text;
    }
    MapIteratorPrototype {
        NEXT 0 walk::next_of_map;
    }
    SetIteratorPrototype {
        NEXT 0 walk::next_of_set;
    }
    ArrayBufferPrototype {
        BYTE_LENGTH 0 buffer::byte_length, gets;
        DETACHED 0 buffer::detached, gets;
        MAX_BYTE_LENGTH 0 buffer::max_byte_length, gets;
        RESIZABLE 0 buffer::resizable, gets;
        RESIZE 1 buffer::resize;
        SLICE 2 buffer::slice;
        TRANSFER 0 buffer::transfer;
        TRANSFER_TO_FIXED_LENGTH 0 buffer::transfer_to_fixed_length;
    }
    DataViewPrototype {
        BUFFER 0 data_view::buffer, gets;
        BYTE_LENGTH 0 data_view::byte_length, gets;
        BYTE_OFFSET 0 data_view::byte_offset, gets;
        GET_FLOAT16 1 data_view::get_float16;
        GET_FLOAT32 1 data_view::get_float32;
        GET_FLOAT64 1 data_view::get_float64;
        GET_INT16 1 data_view::get_int16;
        GET_INT32 1 data_view::get_int32;
        GET_INT8 1 data_view::get_int8;
        GET_UINT16 1 data_view::get_uint16;
        GET_UINT32 1 data_view::get_uint32;
        GET_UINT8 1 data_view::get_uint8;
        SET_FLOAT16 2 data_view::set_float16;
        SET_FLOAT32 2 data_view::set_float32;
        SET_FLOAT64 2 data_view::set_float64;
        SET_INT16 2 data_view::set_int16;
        SET_INT32 2 data_view::set_int32;
        SET_INT8 2 data_view::set_int8;
        SET_UINT16 2 data_view::set_uint16;
        SET_UINT32 2 data_view::set_uint32;
        SET_UINT8 2 data_view::set_uint8;
    }
    TypedArrayPrototype {
        SYMBOL_TO_STRING_TAG 0 typed::tag, gets;
        AT 1 visit::at;
        BUFFER 0 typed::buffer, gets;
        BYTE_LENGTH 0 typed::byte_length, gets;
        BYTE_OFFSET 0 typed::byte_offset, gets;
        CONSTRUCTOR 0 typed::construct_none, constructs TypedArray;
        COPY_WITHIN 2 change::copy_within;
        ENTRIES 0 visit::entries;
        EVERY 1 visit::every;
        FILL 1 change::fill;
        FILTER 1 visit::filter;
        FIND 1 visit::find;
        FIND_INDEX 1 visit::find_index;
        FIND_LAST 1 visit::find_last;
        FIND_LAST_INDEX 1 visit::find_last_index;
        FOR_EACH 1 visit::for_each;
        INCLUDES 1 visit::includes;
        INDEX_OF 1 visit::index_of;
        JOIN 1 visit::join;
        KEYS 0 visit::keys;
        LAST_INDEX_OF 1 visit::last_index_of;
        LENGTH 0 typed::length, gets;
        MAP 1 visit::map;
        REDUCE 1 visit::reduce;
        REDUCE_RIGHT 1 visit::reduce_right;
        REVERSE 0 change::reverse;
        SET 1 change::set;
        SLICE 2 copy::slice;
        SOME 1 visit::some;
        SORT 1 change::sort;
        SUBARRAY 2 change::subarray;
        TO_LOCALE_STRING 0 visit::to_locale_string;
        TO_REVERSED 0 copy::to_reversed;
        TO_SORTED 1 copy::to_sorted;
        VALUES 0 visit::values;
        WITH 2 copy::with;
    }
    ArrayBuffer {
        SYMBOL_SPECIES 0 iterators::itself, gets;
        IS_VIEW 1 buffer::is_view;
    }
    TypedArray {
        SYMBOL_SPECIES 0 iterators::itself, gets;
        FROM 1 typed::from;
        OF 0 typed::of;
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
    (@value number $value:expr) => { FlashValue::Number(&const { $value }) };
    (@value truth $value:expr) => { FlashValue::Truth($value) };
    (@value text $value:expr) => { FlashValue::Text($value) };
    (@value symbol $value:expr) => { FlashValue::Symbol($value) };
    (@value object $value:expr) => { FlashValue::Object($value) };
    (@value thrower) => { FlashValue::Thrower };
    (@value method $value:expr) => { FlashValue::Method($value.0, $value.1) };
}

data! {
    GlobalObject {
        INFINITY 0 number f64::INFINITY;
        JSON HIDDEN object Intrinsic::Json;
        MATH HIDDEN object Intrinsic::Math;
        NA_N 0 number f64::NAN;
        REFLECT HIDDEN object Intrinsic::Reflect;
        CONSOLE HIDDEN object Intrinsic::Console;
        GLOBAL_THIS HIDDEN object Intrinsic::GlobalObject;
        UNDEFINED 0 undefined;
    }
    ObjectPrototype {
        CONSTRUCTOR HIDDEN object Intrinsic::Object;
    }
    FunctionPrototype {
        ARGUMENTS CONFIGURABLE thrower;
        CALLER CONFIGURABLE thrower;
        CONSTRUCTOR HIDDEN object Intrinsic::Function;
    }
    ArrayPrototype {
        SYMBOL_ITERATOR HIDDEN method (Intrinsic::ArrayPrototype, names::VALUES);
        SYMBOL_UNSCOPABLES CONFIGURABLE object Intrinsic::ArrayUnscopables;
        CONSTRUCTOR HIDDEN object Intrinsic::Array;
        LENGTH WRITABLE number 0.0;
    }
    StringPrototype {
        CONSTRUCTOR HIDDEN object Intrinsic::String;
        LENGTH 0 number 0.0;
        TRIM_LEFT HIDDEN method (Intrinsic::StringPrototype, names::TRIM_START);
        TRIM_RIGHT HIDDEN method (Intrinsic::StringPrototype, names::TRIM_END);
    }
    NumberPrototype {
        CONSTRUCTOR HIDDEN object Intrinsic::Number;
    }
    BooleanPrototype {
        CONSTRUCTOR HIDDEN object Intrinsic::Boolean;
    }
    ErrorPrototype {
        CONSTRUCTOR HIDDEN object Intrinsic::Error;
        MESSAGE HIDDEN text names::EMPTY;
        NAME HIDDEN text names::ERROR;
    }
    AggregateErrorPrototype {
        CONSTRUCTOR HIDDEN object Intrinsic::AggregateError;
        MESSAGE HIDDEN text names::EMPTY;
        NAME HIDDEN text names::AGGREGATE_ERROR;
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
    Object {
        PROTOTYPE 0 object Intrinsic::ObjectPrototype;
    }
    Function {
        PROTOTYPE 0 object Intrinsic::FunctionPrototype;
    }
    Array {
        PROTOTYPE 0 object Intrinsic::ArrayPrototype;
    }
    String {
        PROTOTYPE 0 object Intrinsic::StringPrototype;
    }
    Number {
        EPSILON 0 number f64::EPSILON;
        MAX_SAFE_INTEGER 0 number number::MAX_SAFE_INTEGER;
        MAX_VALUE 0 number f64::MAX;
        MIN_SAFE_INTEGER 0 number -number::MAX_SAFE_INTEGER;
        MIN_VALUE 0 number f64::from_bits(1);
        NEGATIVE_INFINITY 0 number f64::NEG_INFINITY;
        NA_N 0 number f64::NAN;
        POSITIVE_INFINITY 0 number f64::INFINITY;
        PARSE_FLOAT HIDDEN method (Intrinsic::GlobalObject, names::PARSE_FLOAT);
        PARSE_INT HIDDEN method (Intrinsic::GlobalObject, names::PARSE_INT);
        PROTOTYPE 0 object Intrinsic::NumberPrototype;
    }
    Boolean {
        PROTOTYPE 0 object Intrinsic::BooleanPrototype;
    }
    Error {
        PROTOTYPE 0 object Intrinsic::ErrorPrototype;
    }
    AggregateError {
        PROTOTYPE 0 object Intrinsic::AggregateErrorPrototype;
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
    Math {
        E 0 number consts::E;
        LN10 0 number consts::LN_10;
        LN2 0 number consts::LN_2;
        LOG10_E 0 number consts::LOG10_E;
        LOG2_E 0 number consts::LOG2_E;
        PI 0 number consts::PI;
        SQRT1_2 0 number consts::FRAC_1_SQRT_2;
        SQRT2 0 number consts::SQRT_2;
        SYMBOL_TO_STRING_TAG CONFIGURABLE text names::MATH;
    }
    Json {
        SYMBOL_TO_STRING_TAG CONFIGURABLE text names::JSON;
    }
    Reflect {
        SYMBOL_TO_STRING_TAG CONFIGURABLE text names::REFLECT;
    }
    ArrayUnscopables {
        AT ALL truth true;
        COPY_WITHIN ALL truth true;
        ENTRIES ALL truth true;
        FILL ALL truth true;
        FIND ALL truth true;
        FIND_INDEX ALL truth true;
        FIND_LAST ALL truth true;
        FIND_LAST_INDEX ALL truth true;
        FLAT ALL truth true;
        FLAT_MAP ALL truth true;
        INCLUDES ALL truth true;
        KEYS ALL truth true;
        TO_REVERSED ALL truth true;
        TO_SORTED ALL truth true;
        TO_SPLICED ALL truth true;
        VALUES ALL truth true;
    }
    MapPrototype {
        SYMBOL_ITERATOR HIDDEN method (Intrinsic::MapPrototype, names::ENTRIES);
        SYMBOL_TO_STRING_TAG CONFIGURABLE text names::MAP_CTOR;
        CONSTRUCTOR HIDDEN object Intrinsic::Map;
    }
    SetPrototype {
        SYMBOL_ITERATOR HIDDEN method (Intrinsic::SetPrototype, names::VALUES);
        SYMBOL_TO_STRING_TAG CONFIGURABLE text names::SET_CTOR;
        CONSTRUCTOR HIDDEN object Intrinsic::Set;
        KEYS HIDDEN method (Intrinsic::SetPrototype, names::VALUES);
    }
    WeakMapPrototype {
        SYMBOL_TO_STRING_TAG CONFIGURABLE text names::WEAK_MAP;
        CONSTRUCTOR HIDDEN object Intrinsic::WeakMap;
    }
    WeakSetPrototype {
        SYMBOL_TO_STRING_TAG CONFIGURABLE text names::WEAK_SET;
        CONSTRUCTOR HIDDEN object Intrinsic::WeakSet;
    }
    Map {
        PROTOTYPE 0 object Intrinsic::MapPrototype;
    }
    Set {
        PROTOTYPE 0 object Intrinsic::SetPrototype;
    }
    WeakMap {
        PROTOTYPE 0 object Intrinsic::WeakMapPrototype;
    }
    WeakSet {
        PROTOTYPE 0 object Intrinsic::WeakSetPrototype;
    }
    SymbolPrototype {
        SYMBOL_TO_STRING_TAG CONFIGURABLE text names::SYMBOL_CTOR;
        CONSTRUCTOR HIDDEN object Intrinsic::Symbol;
    }
    Symbol {
        ASYNC_ITERATOR 0 symbol names::SYMBOL_ASYNC_ITERATOR;
        HAS_INSTANCE 0 symbol names::SYMBOL_HAS_INSTANCE;
        IS_CONCAT_SPREADABLE 0 symbol names::SYMBOL_IS_CONCAT_SPREADABLE;
        ITERATOR 0 symbol names::SYMBOL_ITERATOR;
        MATCH 0 symbol names::SYMBOL_MATCH;
        MATCH_ALL 0 symbol names::SYMBOL_MATCH_ALL;
        PROTOTYPE 0 object Intrinsic::SymbolPrototype;
        REPLACE 0 symbol names::SYMBOL_REPLACE;
        SEARCH 0 symbol names::SYMBOL_SEARCH;
        SPECIES 0 symbol names::SYMBOL_SPECIES;
        SPLIT 0 symbol names::SYMBOL_SPLIT;
        TO_PRIMITIVE 0 symbol names::SYMBOL_TO_PRIMITIVE;
        TO_STRING_TAG 0 symbol names::SYMBOL_TO_STRING_TAG;
        UNSCOPABLES 0 symbol names::SYMBOL_UNSCOPABLES;
    }
    ArrayIteratorPrototype {
        SYMBOL_TO_STRING_TAG CONFIGURABLE text names::ARRAY_ITERATOR;
    }
    StringIteratorPrototype {
        SYMBOL_TO_STRING_TAG CONFIGURABLE text names::STRING_ITERATOR;
    }
    MapIteratorPrototype {
        SYMBOL_TO_STRING_TAG CONFIGURABLE text names::MAP_ITERATOR;
    }
    SetIteratorPrototype {
        SYMBOL_TO_STRING_TAG CONFIGURABLE text names::SET_ITERATOR;
    }
    ArrayBufferPrototype {
        SYMBOL_TO_STRING_TAG CONFIGURABLE text names::ARRAY_BUFFER;
        CONSTRUCTOR HIDDEN object Intrinsic::ArrayBuffer;
    }
    DataViewPrototype {
        SYMBOL_TO_STRING_TAG CONFIGURABLE text names::DATA_VIEW;
        CONSTRUCTOR HIDDEN object Intrinsic::DataView;
    }
    TypedArrayPrototype {
        SYMBOL_ITERATOR HIDDEN method (Intrinsic::TypedArrayPrototype, names::VALUES);
        TO_STRING HIDDEN method (Intrinsic::ArrayPrototype, names::TO_STRING);
    }
    Int8ArrayPrototype {
        BYTES_PER_ELEMENT 0 number 1.0;
        CONSTRUCTOR HIDDEN object Intrinsic::Int8Array;
    }
    Uint8ArrayPrototype {
        BYTES_PER_ELEMENT 0 number 1.0;
        CONSTRUCTOR HIDDEN object Intrinsic::Uint8Array;
    }
    Uint8ClampedArrayPrototype {
        BYTES_PER_ELEMENT 0 number 1.0;
        CONSTRUCTOR HIDDEN object Intrinsic::Uint8ClampedArray;
    }
    Int16ArrayPrototype {
        BYTES_PER_ELEMENT 0 number 2.0;
        CONSTRUCTOR HIDDEN object Intrinsic::Int16Array;
    }
    Uint16ArrayPrototype {
        BYTES_PER_ELEMENT 0 number 2.0;
        CONSTRUCTOR HIDDEN object Intrinsic::Uint16Array;
    }
    Int32ArrayPrototype {
        BYTES_PER_ELEMENT 0 number 4.0;
        CONSTRUCTOR HIDDEN object Intrinsic::Int32Array;
    }
    Uint32ArrayPrototype {
        BYTES_PER_ELEMENT 0 number 4.0;
        CONSTRUCTOR HIDDEN object Intrinsic::Uint32Array;
    }
    Float16ArrayPrototype {
        BYTES_PER_ELEMENT 0 number 2.0;
        CONSTRUCTOR HIDDEN object Intrinsic::Float16Array;
    }
    Float32ArrayPrototype {
        BYTES_PER_ELEMENT 0 number 4.0;
        CONSTRUCTOR HIDDEN object Intrinsic::Float32Array;
    }
    Float64ArrayPrototype {
        BYTES_PER_ELEMENT 0 number 8.0;
        CONSTRUCTOR HIDDEN object Intrinsic::Float64Array;
    }
    ArrayBuffer {
        PROTOTYPE 0 object Intrinsic::ArrayBufferPrototype;
    }
    DataView {
        PROTOTYPE 0 object Intrinsic::DataViewPrototype;
    }
    TypedArray {
        PROTOTYPE 0 object Intrinsic::TypedArrayPrototype;
    }
    Int8Array {
        BYTES_PER_ELEMENT 0 number 1.0;
        PROTOTYPE 0 object Intrinsic::Int8ArrayPrototype;
    }
    Uint8Array {
        BYTES_PER_ELEMENT 0 number 1.0;
        PROTOTYPE 0 object Intrinsic::Uint8ArrayPrototype;
    }
    Uint8ClampedArray {
        BYTES_PER_ELEMENT 0 number 1.0;
        PROTOTYPE 0 object Intrinsic::Uint8ClampedArrayPrototype;
    }
    Int16Array {
        BYTES_PER_ELEMENT 0 number 2.0;
        PROTOTYPE 0 object Intrinsic::Int16ArrayPrototype;
    }
    Uint16Array {
        BYTES_PER_ELEMENT 0 number 2.0;
        PROTOTYPE 0 object Intrinsic::Uint16ArrayPrototype;
    }
    Int32Array {
        BYTES_PER_ELEMENT 0 number 4.0;
        PROTOTYPE 0 object Intrinsic::Int32ArrayPrototype;
    }
    Uint32Array {
        BYTES_PER_ELEMENT 0 number 4.0;
        PROTOTYPE 0 object Intrinsic::Uint32ArrayPrototype;
    }
    Float16Array {
        BYTES_PER_ELEMENT 0 number 2.0;
        PROTOTYPE 0 object Intrinsic::Float16ArrayPrototype;
    }
    Float32Array {
        BYTES_PER_ELEMENT 0 number 4.0;
        PROTOTYPE 0 object Intrinsic::Float32ArrayPrototype;
    }
    Float64Array {
        BYTES_PER_ELEMENT 0 number 8.0;
        PROTOTYPE 0 object Intrinsic::Float64ArrayPrototype;
    }
}

/// First row of each owner, and one behind its last.
pub(super) static NATIVE_RANGES: [(u16, u16); Intrinsic::COUNT] = native_ranges();
pub(super) static DATA_RANGES: [(u16, u16); Intrinsic::COUNT] = data_ranges();
/// The row of the function that an intrinsic is, or the largest number.
pub(super) static FUNCTION_ROWS: [u16; Intrinsic::COUNT] = function_rows();

const fn native_ranges() -> [(u16, u16); Intrinsic::COUNT] {
    use NativeKind::{Getter, Setter};
    let mut ranges = [(0, 0); Intrinsic::COUNT];
    let mut at = 0;
    while at < NATIVES.len() {
        let owner = NATIVES[at].owner as usize;
        if at > 0 {
            let before = &NATIVES[at - 1];
            let pair = matches!((before.kind, NATIVES[at].kind), (Getter, Setter))
                && owner == before.owner as usize
                && NATIVES[at].name.index() == before.name.index();
            assert!(pair || sorted(owner, before.owner as usize, NATIVES[at].name, before.name));
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

/// How many objects there are in flash.
pub(crate) const COUNT: usize = Intrinsic::COUNT + NATIVES.len();

const _: () = assert!(COUNT < Ref::FIRST_HOST as usize - 1);
