//! The operation table: the one list of what the stack machine can do.
//!
//! It owns the row of every operation (doc line, mnemonic, operand, stack
//! effect, flow). The opcode enum, the encoders, the decoder, the verifier, the
//! listing and the interpreter's handler trait are all made from it; nothing
//! else in the workspace lists operations. It refuses to know how an operation
//! is carried out or how it is laid down in bytes.

use crate::operand::{
    Argc, ConstId, Count, Displacement, FieldId, FreeId, FunctionId, GlobalId, Int, OperandKind,
    Slot,
};

/// How many values an operation takes from the stack and leaves there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Effect {
    /// Values taken, besides those the operand counts.
    pub pops: u8,
    /// Values left.
    pub pushes: u8,
    /// Whether the operand counts further values taken.
    pub pops_operand: bool,
}

impl Effect {
    const fn fixed(pops: u8, pushes: u8) -> Self {
        Effect { pops, pushes, pops_operand: false }
    }

    const fn counted(pops: u8, pushes: u8) -> Self {
        Effect { pops, pushes, pops_operand: true }
    }

    /// Values taken by an operation with this operand.
    pub const fn taken(self, operand: i32) -> u32 {
        if self.pops_operand { self.pops as u32 + operand as u32 } else { self.pops as u32 }
    }
}

/// Where control goes after an operation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Flow {
    /// To the next instruction.
    Next,
    /// To the label.
    Jump,
    /// To the next instruction, or to the label with this many values left.
    Branch(u8),
    /// Out of the function.
    Stop,
}

use Flow::{Branch, Jump, Next, Stop};

/// What the table says of one operation to whoever carries it out.
#[derive(Clone, Copy, Debug)]
pub struct OpInfo {
    /// What the operand is.
    pub operand: OperandKind,
    /// The stack effect in numbers, when control goes to the next instruction.
    pub effect: Effect,
    /// Where control goes.
    pub flow: Flow,
}

/// What the table says of one operation to people: apart from [`OpInfo`], so that
/// a machine which shows no listing does not carry the texts in its flash.
#[derive(Clone, Copy, Debug)]
pub struct OpText {
    /// The word a listing shows.
    pub mnemonic: &'static str,
    /// One sentence on what it does.
    pub doc: &'static str,
    /// The stack effect as a picture, top of stack on the right.
    pub picture: &'static str,
}

/// An opcode known while the interpreter is compiled.
pub trait Opcode {
    /// The operation's number.
    const OPCODE: u8;
}

macro_rules! operations {
    ($(
        #[doc = $doc:literal]
        $variant:ident $handler:ident ( $($arg:ident : $ty:ident)? ) $picture:literal $effect:expr, $flow:expr;
    )*) => {
        /// An operation of the stack machine.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        #[repr(u8)]
        pub enum Op {
            $(#[doc = $doc] $variant,)*
        }

        impl Op {
            /// Every operation, in opcode order.
            pub const ALL: &'static [Op] = &[$(Op::$variant,)*];

            const INFO: &'static [OpInfo] = &[$(OpInfo {
                operand: operations!(@kind $($ty)?),
                effect: $effect,
                flow: $flow,
            },)*];

            const TEXT: &'static [OpText] = &[$(OpText {
                mnemonic: stringify!($handler),
                doc: $doc,
                picture: $picture,
            },)*];
        }

        /// Opcodes as patterns.
        #[allow(non_upper_case_globals, reason = "they are called like the operations")]
        mod opcode {
            $(pub(super) const $variant: u8 = super::Op::$variant as u8;)*
        }

        /// What carries the operations out: one handler a row of the table, so a
        /// row without a handler does not compile.
        ///
        /// Where the machine stands (program counter, stack pointer, …) is its own affair.
        /// When a handler is called, the program counter stands behind the instruction.
        pub trait Handlers {
            /// Why it stops before the next instruction.
            type Stop;
            $(
                #[doc = $doc]
                fn $handler(&mut self $(, $arg: $ty)?) -> Result<(), Self::Stop>;
            )*
        }

        /// Carries out the operation that an arm of the interpreter is made for,
        /// its operand bits as the decoder fetched them.
        #[inline(always)]
        pub fn dispatch<H: Handlers, A: Opcode>(
            handlers: &mut H,
            bits: u32,
            zigzag: bool,
        ) -> Result<(), H::Stop> {
            match A::OPCODE {
                $(opcode::$variant => {
                    handlers.$handler($(operations!(@operand $ty bits zigzag))?)
                })*
                _ => handlers.trap(),
            }
        }

        /// The same with an opcode known only at run time: for a loop of one match.
        #[inline(always)]
        pub fn dispatch_here<H: Handlers>(
            handlers: &mut H,
            opcode: u8,
            bits: u32,
            zigzag: bool,
        ) -> Result<(), H::Stop> {
            match opcode {
                $(opcode::$variant => {
                    handlers.$handler($(operations!(@operand $ty bits zigzag))?)
                })*
                _ => handlers.trap(),
            }
        }

        /// The handlers as a table by opcode, for a loop that is to be small: operand
        /// bits as the encoding `word` has them.
        pub struct HandlerTable<H>(core::marker::PhantomData<H>);

        impl<H: Handlers> HandlerTable<H> {
            /// The handler of each operation.
            pub const BY_OPCODE: [fn(&mut H, u32) -> Result<(), H::Stop>; Op::COUNT] = [
                $(|handlers, _bits| {
                    handlers.$handler($(operations!(@operand $ty _bits false))?)
                },)*
            ];
        }

        /// The same out of line: for rare forms.
        #[cold]
        #[inline(never)]
        pub fn dispatch_any<H: Handlers>(
            handlers: &mut H,
            opcode: u8,
            bits: u32,
            zigzag: bool,
        ) -> Result<(), H::Stop> {
            dispatch_here(handlers, opcode, bits, zigzag)
        }
    };
    (@kind) => { OperandKind::None };
    (@kind $ty:ident) => { OperandKind::$ty };
    (@operand $ty:ident $bits:ident $zigzag:tt) => { $ty::from_bits($bits, $zigzag) };
}

operations! {
    /// Refuses to run: no valid image holds it.
    Trap trap() "( -- )" Effect::fixed(0, 0), Stop;

    /// Pushes undefined.
    PushUndefined push_undefined() "( -- undefined )" Effect::fixed(0, 1), Next;
    /// Pushes null.
    PushNull push_null() "( -- null )" Effect::fixed(0, 1), Next;
    /// Pushes true.
    PushTrue push_true() "( -- true )" Effect::fixed(0, 1), Next;
    /// Pushes false.
    PushFalse push_false() "( -- false )" Effect::fixed(0, 1), Next;
    /// Pushes a small integer.
    PushInt push_int(int: Int) "( -- int )" Effect::fixed(0, 1), Next;
    /// Pushes a constant, a string or a number, where it lies in the image.
    PushConst push_const(constant: ConstId) "( -- value )" Effect::fixed(0, 1), Next;

    /// Drops the top of the stack.
    Drop drop() "( a -- )" Effect::fixed(1, 0), Next;
    /// Copies the top of the stack.
    Dup dup() "( a -- a a )" Effect::fixed(1, 2), Next;
    /// Copies the two topmost values.
    DupPair dup_pair() "( a b -- a b a b )" Effect::fixed(2, 4), Next;
    /// Exchanges the two topmost values.
    Swap swap() "( a b -- b a )" Effect::fixed(2, 2), Next;
    /// Copies the top of the stack beneath the value under it.
    Tuck tuck() "( a b -- b a b )" Effect::fixed(2, 3), Next;
    /// Copies the top of the stack beneath the two values under it.
    TuckPair tuck_pair() "( a b c -- c a b c )" Effect::fixed(3, 4), Next;

    /// Pushes the value of a slot of the frame.
    LoadSlot load_slot(slot: Slot) "( -- value )" Effect::fixed(0, 1), Next;
    /// Pushes the value of a slot; a ReferenceError while it is uninitialised.
    LoadSlotChecked load_slot_checked(slot: Slot) "( -- value )" Effect::fixed(0, 1), Next;
    /// Moves the top of the stack into a slot.
    StoreSlot store_slot(slot: Slot) "( value -- )" Effect::fixed(1, 0), Next;
    /// Moves the top of the stack into a slot; a ReferenceError while it is uninitialised.
    StoreSlotChecked store_slot_checked(slot: Slot) "( value -- )" Effect::fixed(1, 0), Next;
    /// Copies the top of the stack into a slot.
    KeepSlot keep_slot(slot: Slot) "( value -- value )" Effect::fixed(1, 1), Next;
    /// Copies the top of the stack into a slot; a ReferenceError while it is uninitialised.
    KeepSlotChecked keep_slot_checked(slot: Slot) "( value -- value )" Effect::fixed(1, 1), Next;
    /// Marks a slot uninitialised: its variable is in the temporal dead zone.
    ClearSlot clear_slot(slot: Slot) "( -- )" Effect::fixed(0, 0), Next;

    /// Puts a new box, its variable uninitialised, into a slot.
    MakeBox make_box(slot: Slot) "( -- )" Effect::fixed(0, 0), Next;
    /// Puts a new box holding the slot's value into that slot.
    BoxSlot box_slot(slot: Slot) "( -- )" Effect::fixed(0, 0), Next;
    /// Puts a new box holding the value of the slot's present box into that slot.
    RenewBox renew_box(slot: Slot) "( -- )" Effect::fixed(0, 0), Next;
    /// Moves the top of the stack into the slot's box: the variable is initialised.
    InitBox init_box(slot: Slot) "( value -- )" Effect::fixed(1, 0), Next;
    /// Pushes what the slot's box holds; a ReferenceError while it is uninitialised.
    LoadBox load_box(slot: Slot) "( -- value )" Effect::fixed(0, 1), Next;
    /// Moves the top of the stack into the slot's box; a ReferenceError while it is uninitialised.
    StoreBox store_box(slot: Slot) "( value -- )" Effect::fixed(1, 0), Next;
    /// Copies the top of the stack into the slot's box; a ReferenceError while it is uninitialised.
    KeepBox keep_box(slot: Slot) "( value -- value )" Effect::fixed(1, 1), Next;

    /// Pushes a free variable of the function: a captured box or a global.
    LoadFree load_free(free: FreeId) "( -- value )" Effect::fixed(0, 1), Next;
    /// Pushes a free variable, or undefined where no binding of that name exists.
    LoadFreeSoft load_free_soft(free: FreeId) "( -- value )" Effect::fixed(0, 1), Next;
    /// Moves the top of the stack into a free variable.
    StoreFree store_free(free: FreeId) "( value -- )" Effect::fixed(1, 0), Next;
    /// Copies the top of the stack into a free variable.
    KeepFree keep_free(free: FreeId) "( value -- value )" Effect::fixed(1, 1), Next;

    /// Pushes a global; a ReferenceError where there is none or it is uninitialised.
    LoadGlobal load_global(global: GlobalId) "( -- value )" Effect::fixed(0, 1), Next;
    /// Pushes a global, or undefined where no binding of that name exists.
    LoadGlobalSoft load_global_soft(global: GlobalId) "( -- value )" Effect::fixed(0, 1), Next;
    /// Moves the top of the stack into a global.
    StoreGlobal store_global(global: GlobalId) "( value -- )" Effect::fixed(1, 0), Next;
    /// Copies the top of the stack into a global.
    KeepGlobal keep_global(global: GlobalId) "( value -- value )" Effect::fixed(1, 1), Next;
    /// Moves the top of the stack into a global that its declaration initialises.
    InitGlobal init_global(global: GlobalId) "( value -- )" Effect::fixed(1, 0), Next;

    /// Pushes the this value of the call.
    LoadThis load_this() "( -- value )" Effect::fixed(0, 1), Next;
    /// Pushes the function that is running.
    LoadCallee load_callee() "( -- function )" Effect::fixed(0, 1), Next;
    /// Pushes a new arguments object of the call.
    LoadArguments load_arguments() "( -- object )" Effect::fixed(0, 1), Next;
    /// Throws the TypeError of an assignment to a constant of that name.
    FailConst fail_const(name: FieldId) "( value -- value )" Effect::fixed(1, 1), Next;

    /// Reads the named property of an object.
    ReadField read_field(field: FieldId) "( object -- value )" Effect::fixed(1, 1), Next;
    /// Reads the named property to call it, and leaves the object as its this value.
    MethodField method_field(field: FieldId) "( object -- function object )" Effect::fixed(1, 2), Next;
    /// Writes the named property of an object.
    WriteField write_field(field: FieldId) "( object value -- )" Effect::fixed(2, 0), Next;
    /// Writes the named property of an object and keeps the value.
    KeepField keep_field(field: FieldId) "( object value -- value )" Effect::fixed(2, 1), Next;
    /// Deletes the named property of an object.
    DeleteField delete_field(field: FieldId) "( object -- boolean )" Effect::fixed(1, 1), Next;
    /// Defines the named property of an object literal.
    InitField init_field(field: FieldId) "( object value -- object )" Effect::fixed(2, 1), Next;
    /// Defines the named getter of an object literal.
    InitGetter init_getter(field: FieldId) "( object function -- object )" Effect::fixed(2, 1), Next;
    /// Defines the named setter of an object literal.
    InitSetter init_setter(field: FieldId) "( object function -- object )" Effect::fixed(2, 1), Next;
    /// Reads the property of an object at a computed key.
    ReadAt read_at() "( object key -- value )" Effect::fixed(2, 1), Next;
    /// Reads the property at a computed key to call it, and leaves the object as its this value.
    MethodAt method_at() "( object key -- function object )" Effect::fixed(2, 2), Next;
    /// Writes the property of an object at a computed key.
    WriteAt write_at() "( object key value -- )" Effect::fixed(3, 0), Next;
    /// Writes the property of an object at a computed key and keeps the value.
    KeepAt keep_at() "( object key value -- value )" Effect::fixed(3, 1), Next;
    /// Deletes the property of an object at a computed key.
    DeleteAt delete_at() "( object key -- boolean )" Effect::fixed(2, 1), Next;
    /// Defines the property of an object literal at a computed key.
    InitAt init_at() "( object key value -- object )" Effect::fixed(3, 1), Next;
    /// Defines the getter of an object literal at a computed key.
    InitGetterAt init_getter_at() "( object key function -- object )" Effect::fixed(3, 1), Next;
    /// Defines the setter of an object literal at a computed key.
    InitSetterAt init_setter_at() "( object key function -- object )" Effect::fixed(3, 1), Next;

    /// Makes an object with room for that many properties.
    MakeObject make_object(count: Count) "( -- object )" Effect::fixed(0, 1), Next;
    /// Makes an array of the topmost values.
    MakeArray make_array(count: Count) "( value… -- array )" Effect::counted(0, 1), Next;
    /// Appends a value to an array literal.
    Append append() "( array value -- array )" Effect::fixed(2, 1), Next;
    /// Appends a hole to an array literal.
    AppendHole append_hole() "( array -- array )" Effect::fixed(1, 1), Next;
    /// Makes a closure of a function of the image, capturing its free variables.
    MakeClosure make_closure(function: FunctionId) "( -- function )" Effect::fixed(0, 1), Next;

    /// Calls a function with that many arguments; its this value is undefined.
    Call call(argc: Argc) "( function arg… -- value )" Effect::counted(1, 1), Next;
    /// Calls a function with a this value and that many arguments.
    CallMethod call_method(argc: Argc) "( function this arg… -- value )" Effect::counted(2, 1), Next;
    /// Constructs with a constructor and that many arguments.
    Construct construct(argc: Argc) "( constructor arg… -- object )" Effect::counted(1, 1), Next;

    /// Adds numbers or joins strings.
    Add add() "( a b -- a+b )" Effect::fixed(2, 1), Next;
    /// Subtracts.
    Subtract subtract() "( a b -- a-b )" Effect::fixed(2, 1), Next;
    /// Multiplies.
    Multiply multiply() "( a b -- a*b )" Effect::fixed(2, 1), Next;
    /// Divides.
    Divide divide() "( a b -- a/b )" Effect::fixed(2, 1), Next;
    /// Takes the remainder of a division that truncates.
    Remainder remainder() "( a b -- a%b )" Effect::fixed(2, 1), Next;
    /// Raises to a power.
    Power power() "( a b -- a**b )" Effect::fixed(2, 1), Next;
    /// Changes the sign of a number.
    Negate negate() "( a -- -a )" Effect::fixed(1, 1), Next;
    /// Converts to a number.
    ToNumber to_number() "( a -- number )" Effect::fixed(1, 1), Next;
    /// Adds one to a number.
    Increment increment() "( a -- a+1 )" Effect::fixed(1, 1), Next;
    /// Takes one from a number.
    Decrement decrement() "( a -- a-1 )" Effect::fixed(1, 1), Next;
    /// Ands the bits of two 32-bit integers.
    BitAnd bit_and() "( a b -- a&b )" Effect::fixed(2, 1), Next;
    /// Ors the bits of two 32-bit integers.
    BitOr bit_or() "( a b -- a|b )" Effect::fixed(2, 1), Next;
    /// Exclusive-ors the bits of two 32-bit integers.
    BitXor bit_xor() "( a b -- a^b )" Effect::fixed(2, 1), Next;
    /// Inverts the bits of a 32-bit integer.
    BitNot bit_not() "( a -- ~a )" Effect::fixed(1, 1), Next;
    /// Shifts bits to the left.
    ShiftLeft shift_left() "( a n -- a<<n )" Effect::fixed(2, 1), Next;
    /// Shifts bits to the right, copying the sign.
    ShiftRight shift_right() "( a n -- a>>n )" Effect::fixed(2, 1), Next;
    /// Shifts bits to the right, filling with zero.
    ShiftRightUnsigned shift_right_unsigned() "( a n -- a>>>n )" Effect::fixed(2, 1), Next;

    /// Compares with conversion.
    Equal equal() "( a b -- a==b )" Effect::fixed(2, 1), Next;
    /// Compares with conversion, negated.
    NotEqual not_equal() "( a b -- a!=b )" Effect::fixed(2, 1), Next;
    /// Compares without conversion.
    StrictEqual strict_equal() "( a b -- a===b )" Effect::fixed(2, 1), Next;
    /// Compares without conversion, negated.
    StrictNotEqual strict_not_equal() "( a b -- a!==b )" Effect::fixed(2, 1), Next;
    /// Orders two values.
    Less less() "( a b -- a<b )" Effect::fixed(2, 1), Next;
    /// Orders two values.
    LessEqual less_equal() "( a b -- a<=b )" Effect::fixed(2, 1), Next;
    /// Orders two values.
    Greater greater() "( a b -- a>b )" Effect::fixed(2, 1), Next;
    /// Orders two values.
    GreaterEqual greater_equal() "( a b -- a>=b )" Effect::fixed(2, 1), Next;
    /// Tells whether an object has a property, its own or inherited.
    In in_object() "( key object -- boolean )" Effect::fixed(2, 1), Next;
    /// Tells whether a constructor's prototype is in the chain of a value.
    InstanceOf instance_of() "( value constructor -- boolean )" Effect::fixed(2, 1), Next;
    /// Negates the truth of a value.
    Not not() "( a -- !a )" Effect::fixed(1, 1), Next;
    /// Names the type of a value.
    TypeOf type_of() "( a -- string )" Effect::fixed(1, 1), Next;
    /// Converts to a string.
    ToText to_text() "( a -- string )" Effect::fixed(1, 1), Next;
    /// Converts to a property key.
    ToKey to_key() "( a -- key )" Effect::fixed(1, 1), Next;

    /// Goes to the label.
    Branch branch(to: Displacement) "( -- )" Effect::fixed(0, 0), Jump;
    /// Goes to the label if the value is true.
    BranchTrue branch_true(to: Displacement) "( a -- )" Effect::fixed(1, 0), Branch(0);
    /// Goes to the label if the value is false.
    BranchFalse branch_false(to: Displacement) "( a -- )" Effect::fixed(1, 0), Branch(0);
    /// Goes to the label keeping the value if it is true, else drops it.
    BranchKeepTrue branch_keep_true(to: Displacement) "( a -- a | )" Effect::fixed(1, 0), Branch(1);
    /// Goes to the label keeping the value if it is false, else drops it.
    BranchKeepFalse branch_keep_false(to: Displacement) "( a -- a | )" Effect::fixed(1, 0), Branch(1);
    /// Drops both and goes to the label if the case equals the value strictly, else drops the case.
    BranchCase branch_case(to: Displacement) "( a case -- | a )" Effect::fixed(2, 1), Branch(0);
    /// Returns the value to the caller.
    Return return_value() "( value -- )" Effect::fixed(1, 0), Stop;
    /// Returns undefined to the caller.
    ReturnUndefined return_undefined() "( -- )" Effect::fixed(0, 0), Stop;
    /// Throws the value.
    Throw throw() "( value -- )" Effect::fixed(1, 0), Stop;

    /// Starts the enumeration of an object's keys.
    StartKeys start_keys() "( object -- iterator )" Effect::fixed(1, 1), Next;
    /// Pushes the next key, or goes to the label when there is none.
    NextKey next_key(to: Displacement) "( iterator -- key | )" Effect::fixed(1, 1), Branch(0);
    /// Starts the iteration over an object's values.
    StartValues start_values() "( object -- iterator )" Effect::fixed(1, 1), Next;
    /// Pushes the next value, or goes to the label when there is none.
    NextValue next_value(to: Displacement) "( iterator -- value | )" Effect::fixed(1, 1), Branch(0);

    /// Goes to the label keeping the value unless that is undefined, else drops it.
    BranchKeepDefined branch_keep_defined(to: Displacement) "( a -- a | )" Effect::fixed(1, 0), Branch(1);
    /// Goes to the label keeping the value unless that is undefined or null, else drops it.
    BranchKeepPresent branch_keep_present(to: Displacement) "( a -- a | )" Effect::fixed(1, 0), Branch(1);
    /// Goes to the label with undefined if the value is undefined or null, else keeps it.
    BranchAbsent branch_absent(to: Displacement) "( a -- undefined | a )" Effect::fixed(1, 1), Branch(1);
    /// Goes to the label with undefined if the function is undefined or null, else keeps both.
    BranchMethodAbsent branch_method_absent(to: Displacement) "( function this -- undefined | function this )" Effect::fixed(2, 2), Branch(1);
    /// Pushes an array of the call's arguments from that one on.
    LoadRest load_rest(count: Count) "( -- array )" Effect::fixed(0, 1), Next;
    /// Calls a function with a this value and the elements of an array as arguments.
    CallList call_list() "( function this array -- value )" Effect::fixed(3, 1), Next;
    /// Constructs with a constructor and the elements of an array as arguments.
    ConstructList construct_list() "( constructor array -- object )" Effect::fixed(2, 1), Next;
    /// Appends what an iterable yields to an array literal.
    Extend extend() "( array iterable -- array )" Effect::fixed(2, 1), Next;
    /// Copies the own enumerable properties of a value into an object literal.
    CopyProperties copy_properties() "( object source -- object )" Effect::fixed(2, 1), Next;
    /// Makes an object of a value's own enumerable properties but for those with these keys.
    CopyRest copy_rest(count: Argc) "( source key… -- object )" Effect::counted(1, 1), Next;
    /// Names a function after its key: as it is, or behind `get` (1) or `set` (2).
    NameFunction name_function(count: Count) "( key function -- key function )" Effect::fixed(2, 2), Next;
    /// Throws a TypeError if the value is undefined or null.
    RequireObject require_object() "( a -- a )" Effect::fixed(1, 1), Next;
    /// Pushes the next value, undefined where there is none.
    StepValue step_value() "( iterator -- value )" Effect::fixed(1, 1), Next;
    /// Makes an array of the values that are left.
    RestValues rest_values() "( iterator -- array )" Effect::fixed(1, 1), Next;
    /// Pushes the template object of that site, undefined before it is made.
    LoadTemplate load_template(site: Count) "( -- template )" Effect::fixed(0, 1), Next;
    /// Makes the template object of a site, of cooked and raw strings by turns.
    MakeTemplate make_template(count: Argc) "( site text… -- template )" Effect::counted(1, 1), Next;
    /// Closes an iterator that may have values left.
    CloseValues close_values() "( iterator -- )" Effect::fixed(1, 0), Next;

    /// Makes a class of its constructor's function and what it extends, which only a derived one looks at.
    MakeClass make_class(function: FunctionId) "( heritage -- constructor prototype )" Effect::fixed(1, 2), Next;
    /// Defines a method (0), getter (1) or setter (2) of a class, with 4 more of its constructor.
    DefineMember define_member(count: Count) "( constructor prototype key function -- constructor prototype )" Effect::fixed(4, 2), Next;
    /// Gives a class the function that defines the fields of its instances.
    SetFields set_fields() "( constructor prototype function -- constructor prototype )" Effect::fixed(3, 2), Next;
    /// Defines a field.
    DefineField define_field() "( object key value -- object )" Effect::fixed(3, 1), Next;
    /// Defines the fields that a class's constructor has for a new object.
    InitFields init_fields() "( object constructor -- object )" Effect::fixed(2, 1), Next;
    /// Tells a method the object that it is defined in.
    SetHome set_home() "( object key function -- object key function )" Effect::fixed(3, 3), Next;
    /// Pushes the object that the running method is defined in.
    LoadHome load_home() "( -- object )" Effect::fixed(0, 1), Next;
    /// Pushes what `new` was applied to, undefined in a plain call, and makes the this value.
    EnterTarget enter_target() "( -- target )" Effect::fixed(0, 1), Next;
    /// Pushes the prototype of an object.
    PrototypeOf prototype_of() "( object -- prototype )" Effect::fixed(1, 1), Next;
    /// Copies a reference through `super`, its key converted first.
    CopySuper copy_super() "( this key base -- this key base this key base )" Effect::fixed(3, 6), Next;
    /// Reads a property of a base for a this value.
    ReadSuper read_super() "( this key base -- value )" Effect::fixed(3, 1), Next;
    /// Reads a property of a base to call it, and leaves its this value.
    MethodSuper method_super() "( this key base -- function this )" Effect::fixed(3, 2), Next;
    /// Writes a property of a base for a this value and keeps the value.
    KeepSuper keep_super() "( this key base value -- value )" Effect::fixed(4, 1), Next;
    /// Throws the ReferenceError of deleting a property of `super`.
    DeleteSuper delete_super() "( this key base -- boolean )" Effect::fixed(3, 1), Next;
    /// Constructs with a constructor, what `new` was applied to, and that many arguments.
    SuperCall super_call(argc: Argc) "( constructor target arg… -- object )" Effect::counted(2, 1), Next;
    /// Constructs with a constructor, what `new` was applied to, and the elements of an array as arguments.
    SuperCallList super_call_list() "( constructor target array -- object )" Effect::fixed(3, 1), Next;
    /// Copies the top of the stack into a slot; a ReferenceError unless it is uninitialised.
    BindSlot bind_slot(slot: Slot) "( value -- value )" Effect::fixed(1, 1), Next;
    /// Copies the top of the stack into the slot's box; a ReferenceError unless it is uninitialised.
    BindBox bind_box(slot: Slot) "( value -- value )" Effect::fixed(1, 1), Next;
    /// Copies the top of the stack into a free variable; a ReferenceError unless it is uninitialised.
    BindFree bind_free(free: FreeId) "( value -- value )" Effect::fixed(1, 1), Next;
    /// Throws the TypeError of a derived constructor that returns neither an object nor undefined.
    CheckDerived check_derived() "( value -- value )" Effect::fixed(1, 1), Next;
    /// Steps an iterator past the next value.
    SkipValue skip_value() "( iterator -- )" Effect::fixed(1, 0), Next;
}

impl Op {
    /// How many operations there are.
    pub const COUNT: usize = Op::ALL.len();

    /// The row of the table.
    #[inline]
    pub const fn info(self) -> &'static OpInfo {
        &Op::INFO[self as usize]
    }

    /// The texts of the row.
    pub const fn text(self) -> &'static OpText {
        &Op::TEXT[self as usize]
    }

    /// The operation with this opcode, if there is one.
    pub const fn from_opcode(opcode: u8) -> Option<Op> {
        if (opcode as usize) < Op::COUNT { Some(Op::ALL[opcode as usize]) } else { None }
    }

    /// The operation with this mnemonic, if there is one.
    pub fn from_mnemonic(mnemonic: &str) -> Option<Op> {
        Op::ALL.iter().copied().find(|op| op.text().mnemonic == mnemonic)
    }

    /// Whether the operand is a branch displacement.
    pub const fn is_branch(self) -> bool {
        matches!(self.info().operand, OperandKind::Displacement)
    }
}
