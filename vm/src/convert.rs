//! Type conversion and comparison (ECMA-262, "Type Conversion" and "Testing and
//! Comparison Operations").

use core::cmp::Ordering;

use crate::Host;
use crate::error::{Raise, StopKind};
use crate::keys::Key;
use crate::layout::{Layout, Tag, special};
use crate::number::{parse, with_text};
use crate::object::Class;
use crate::text::View;
use crate::value::{ImageConst, Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::NameId;
use scruple_bytecode::image::Constant;
use scruple_bytecode::names;

/// Which primitive a conversion would rather have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Hint {
    Default,
    Number,
    String,
}

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// The number that a value is, if it is one.
    #[inline]
    pub fn as_number(&self, value: Value<L>) -> Option<f64> {
        if let Some(int) = value.as_int() {
            return Some(f64::from(int));
        }
        if let Some(number) = L::as_inline_number(value.0) {
            return Some(number);
        }
        match value.tag() {
            Tag::HeapNumber => Some(self.heap.number(Ref(value.payload()))),
            Tag::ImageNumber => {
                let lies = ImageConst::from_payload(value.payload());
                match self.image(lies.image)?.constant(lies.constant)? {
                    Constant::Number(number) => Some(number),
                    _ => None,
                }
            }
            _ => None,
        }
    }

    /// ECMA-262, ToPrimitive.
    pub(crate) fn to_primitive(&mut self, value: Value<L>, hint: Hint) -> Result<Value<L>, Raise> {
        let Some(object) = value.as_object() else { return Ok(value) };
        self.push(value)?;
        let exotic = self.get_method(value, names::SYMBOL_TO_PRIMITIVE)?;
        self.pop();
        let Some(exotic) = exotic else { return self.ordinary_to_primitive(object, hint) };
        let wish = Value::name(match hint {
            Hint::Default => names::DEFAULT,
            Hint::Number => names::NUMBER,
            Hint::String => names::STRING,
        });
        let result = self.invoke(exotic, value, &[wish])?;
        if result.is_object() {
            return Err(self.throw_type("cannot convert an object to a primitive value"));
        }
        Ok(result)
    }

    /// ECMA-262, GetMethod: nothing where the property is undefined or null. The
    /// value is rooted, the method is not.
    pub(crate) fn get_method(
        &mut self,
        value: Value<L>,
        name: NameId,
    ) -> Result<Option<Value<L>>, Raise> {
        let method = self.get_value(value, Key::name(name))?;
        if method.is_nullish() {
            return Ok(None);
        }
        if !self.is_callable(method) {
            return Err(self.throw_type("a method is not a function"));
        }
        Ok(Some(method))
    }

    /// ECMA-262, OrdinaryToPrimitive.
    pub(crate) fn ordinary_to_primitive(
        &mut self,
        object: Ref,
        hint: Hint,
    ) -> Result<Value<L>, Raise> {
        let value = Value::object(object);
        let order = match hint {
            Hint::String => [names::TO_STRING, names::VALUE_OF],
            Hint::Default | Hint::Number => [names::VALUE_OF, names::TO_STRING],
        };
        self.push(value)?;
        for name in order {
            let method = self.get(object, Key::name(name))?;
            if self.is_callable(method) {
                let result = self.invoke(method, value, &[])?;
                if !result.is_object() {
                    self.pop();
                    return Ok(result);
                }
            }
        }
        self.pop();
        Err(self.throw_type("cannot convert an object to a primitive value"))
    }

    /// ECMA-262, ToBoolean.
    #[inline(always)]
    pub(crate) fn to_boolean(&self, value: Value<L>) -> bool {
        if value == Value::boolean(true) {
            return true;
        }
        if value == Value::boolean(false) {
            return false;
        }
        self.to_boolean_slow(value)
    }

    #[inline(never)]
    fn to_boolean_slow(&self, value: Value<L>) -> bool {
        if let Some(number) = self.as_number(value) {
            return number != 0.0 && !number.is_nan();
        }
        match value.tag() {
            Tag::Special => false,
            Tag::HeapText | Tag::ImageText | Tag::NameText => {
                self.view(value).is_some_and(|view| view.len() > 0)
            }
            _ => true,
        }
    }

    /// ECMA-262, ToNumber.
    pub fn to_number(&mut self, value: Value<L>) -> Result<f64, Raise> {
        if let Some(number) = self.as_number(value) {
            return Ok(number);
        }
        match value.tag() {
            Tag::Special => Ok(match value.payload() {
                special::NULL | special::FALSE => 0.0,
                special::TRUE => 1.0,
                _ => f64::NAN,
            }),
            Tag::Object => {
                let primitive = self.to_primitive(value, Hint::Number)?;
                self.to_number(primitive)
            }
            Tag::Symbol => Err(self.throw_type("cannot convert a symbol to a number")),
            _ => {
                let len = self.view(value).map_or(0, |view| view.len());
                self.spend_on_units(len)?;
                Ok(self.text_to_number(value))
            }
        }
    }

    /// ECMA-262, StringToNumber.
    pub(crate) fn text_to_number(&self, value: Value<L>) -> f64 {
        match self.view(value) {
            Some(view) => parse::<H>(view.len(), &|at| self.unit(&view, at)),
            None => f64::NAN,
        }
    }

    /// ECMA-262, ToIntegerOrInfinity.
    pub(crate) fn to_integer(&mut self, value: Value<L>) -> Result<f64, Raise> {
        if let Some(int) = value.as_int() {
            return Ok(f64::from(int));
        }
        let number = self.to_number(value)?;
        // Adding zero makes -0 a 0.
        Ok(if number.is_nan() { 0.0 } else { libm::trunc(number) + 0.0 })
    }

    /// ECMA-262, ToLength.
    pub(crate) fn to_length(&mut self, value: Value<L>) -> Result<f64, Raise> {
        let integer = self.to_integer(value)?;
        Ok(integer.clamp(0.0, 9_007_199_254_740_991.0))
    }

    /// ECMA-262, ToInt32.
    #[inline]
    pub(crate) fn to_i32(&mut self, value: Value<L>) -> Result<i32, Raise> {
        match value.as_int() {
            Some(int) => Ok(int),
            None => Ok(wrap_to_i32(self.to_number(value)?)),
        }
    }

    /// ECMA-262, ToUint32.
    pub(crate) fn to_u32(&mut self, value: Value<L>) -> Result<u32, Raise> {
        self.to_i32(value).map(|int| int as u32)
    }

    /// ECMA-262, ToString. The result is not rooted.
    pub fn to_text(&mut self, value: Value<L>) -> Result<Value<L>, Raise> {
        if value.is_string() {
            return Ok(value);
        }
        if let Some(number) = self.as_number(value) {
            return self.number_text(number);
        }
        match value.tag() {
            Tag::Special => Ok(Value::name(match value.payload() {
                special::NULL => names::NULL,
                special::FALSE => names::FALSE,
                special::TRUE => names::TRUE,
                _ => names::UNDEFINED,
            })),
            Tag::Symbol => Err(self.throw_type("cannot convert a symbol to a string")),
            _ => {
                let primitive = self.to_primitive(value, Hint::String)?;
                self.to_text(primitive)
            }
        }
    }

    /// ECMA-262, Number::toString in base ten.
    pub(crate) fn number_text(&mut self, number: f64) -> Result<Value<L>, Raise> {
        if number == 0.0 {
            return Ok(Value::unit(u16::from(b'0')));
        }
        if number.is_nan() {
            return Ok(Value::name(names::NA_N));
        }
        if number == f64::INFINITY {
            return Ok(Value::name(names::INFINITY));
        }
        with_text::<H, _>(number, |text| self.text_from_latin1(text.as_bytes()))
    }

    /// ECMA-262, ToObject. The value is rooted by the caller.
    pub(crate) fn to_object(&mut self, value: Value<L>) -> Result<Ref, Raise> {
        if let Some(object) = value.as_object() {
            return Ok(object);
        }
        if value.is_nullish() {
            return Err(self.throw_type("cannot convert undefined or null to an object"));
        }
        let class = if value.as_boolean().is_some() {
            Class::Boolean
        } else if value.is_string() {
            Class::Text
        } else if value.is_symbol() {
            Class::Symbol
        } else {
            Class::Number
        };
        let prototype = self.prototype_of_primitive(value);
        self.new_wrapper(class, prototype, value)
    }

    /// The prototype that a primitive's properties come from.
    pub(crate) fn prototype_of_primitive(&self, value: Value<L>) -> Ref {
        use crate::builtins::Intrinsic;
        if value.as_boolean().is_some() {
            Intrinsic::BooleanPrototype.reference()
        } else if value.is_string() {
            Intrinsic::StringPrototype.reference()
        } else if value.is_symbol() {
            Intrinsic::SymbolPrototype.reference()
        } else {
            Intrinsic::NumberPrototype.reference()
        }
    }

    /// What `typeof` gives.
    pub(crate) fn type_name(&self, value: Value<L>) -> NameId {
        if value.is_undefined() {
            names::UNDEFINED
        } else if value.is_null() {
            names::OBJECT
        } else if value.as_boolean().is_some() {
            names::BOOLEAN
        } else if value.is_number() {
            names::NUMBER
        } else if value.is_string() {
            names::STRING
        } else if value.is_symbol() {
            names::SYMBOL
        } else if self.is_callable(value) {
            names::FUNCTION
        } else {
            names::OBJECT
        }
    }

    /// ECMA-262, IsStrictlyEqual.
    #[inline]
    pub(crate) fn strictly_equal(&self, a: Value<L>, b: Value<L>) -> bool {
        if let Some((a, b)) = L::both_ints(a.0, b.0) {
            return a == b;
        }
        self.strictly_equal_slow(a, b)
    }

    fn strictly_equal_slow(&self, a: Value<L>, b: Value<L>) -> bool {
        if let Some(left) = self.as_number(a) {
            return self.as_number(b).is_some_and(|right| left == right);
        }
        if a == b {
            return true;
        }
        match (self.view(a), self.view(b)) {
            (Some(a), Some(b)) => self.same_text(&a, &b),
            _ => false,
        }
    }

    /// The same, and two strings are gone through at the cost of the budget.
    #[inline]
    pub(crate) fn find_equal(&mut self, a: Value<L>, b: Value<L>) -> Result<bool, Raise> {
        if let Some((a, b)) = L::both_ints(a.0, b.0) {
            return Ok(a == b);
        }
        self.find_equal_slow(a, b)
    }

    #[cfg_attr(feature = "small", inline(never))]
    fn find_equal_slow(&mut self, a: Value<L>, b: Value<L>) -> Result<bool, Raise> {
        // Of one string as of two: the heap may have made one of two alike.
        if a.is_string() && b.is_string() {
            self.spend_on_pair(a, b)?;
        }
        Ok(self.strictly_equal_slow(a, b))
    }

    /// Takes from the budget what it may be to compare two strings.
    pub(crate) fn spend_on_pair(&mut self, a: Value<L>, b: Value<L>) -> Result<(), Raise> {
        let len = |value| self.view(value).map_or(0, |view| view.len());
        self.spend_on_units(len(a).min(len(b)))
    }

    /// ECMA-262, SameValue.
    pub(crate) fn same_value(&self, a: Value<L>, b: Value<L>) -> bool {
        match (self.as_number(a), self.as_number(b)) {
            (Some(a), Some(b)) => a.to_bits() == b.to_bits() || a.is_nan() && b.is_nan(),
            _ => self.strictly_equal(a, b),
        }
    }

    /// ECMA-262, SameValueZero.
    pub(crate) fn same_value_zero(&self, a: Value<L>, b: Value<L>) -> bool {
        match (self.as_number(a), self.as_number(b)) {
            (Some(a), Some(b)) => a == b || a.is_nan() && b.is_nan(),
            _ => self.strictly_equal(a, b),
        }
    }

    /// ECMA-262, IsLooselyEqual. Both values are rooted.
    pub(crate) fn loosely_equal(&mut self, a: Value<L>, b: Value<L>) -> Result<bool, Raise> {
        let (mut a, mut b) = (a, b);
        loop {
            let same_type = a.is_number() && b.is_number()
                || a.is_string() && b.is_string()
                || a.is_object() && b.is_object()
                || a.as_boolean().is_some() && b.as_boolean().is_some();
            if same_type {
                return self.find_equal(a, b);
            }
            if a.is_nullish() || b.is_nullish() {
                return Ok(a.is_nullish() && b.is_nullish());
            }
            let either_symbol = a.is_symbol() || b.is_symbol();
            if either_symbol && !a.is_object() && !b.is_object() {
                return Ok(a == b);
            }
            if let Some(boolean) = a.as_boolean() {
                a = Value::small(i32::from(boolean));
            } else if let Some(boolean) = b.as_boolean() {
                b = Value::small(i32::from(boolean));
            } else if a.is_object() {
                a = self.to_primitive(a, Hint::Default)?;
            } else if b.is_object() {
                b = self.to_primitive(b, Hint::Default)?;
            } else {
                let (left, right) = (self.to_number(a)?, self.to_number(b)?);
                return Ok(left == right);
            }
        }
    }

    /// ECMA-262, IsLessThan with both operands evaluated: the order, or nothing
    /// where NaN makes it undefined. Both values are rooted.
    pub(crate) fn compare(&mut self, a: Value<L>, b: Value<L>) -> Result<Option<Ordering>, Raise> {
        if let (Some(left), Some(right)) = (self.as_number(a), self.as_number(b)) {
            return Ok(left.partial_cmp(&right));
        }
        let left = self.to_primitive(a, Hint::Number)?;
        self.push(left)?;
        let right = self.to_primitive(b, Hint::Number)?;
        self.pop();
        self.spend_on_pair(left, right)?;
        if let (Some(left), Some(right)) = (self.view(left), self.view(right)) {
            return Ok(Some(self.compare_views(&left, &right)));
        }
        let left = self.to_number(left)?;
        let right = self.to_number(right)?;
        Ok(left.partial_cmp(&right))
    }

    /// The `+` operator for values that are not both numbers. Both are rooted.
    pub(crate) fn add_values(&mut self, a: Value<L>, b: Value<L>) -> Result<Value<L>, Raise> {
        let mark = self.heap.sp;
        let left = self.to_primitive(a, Hint::Default)?;
        self.push(left)?;
        let right = self.to_primitive(b, Hint::Default)?;
        self.push(right)?;
        let sum = if left.is_string() || right.is_string() {
            let left = self.to_text(left)?;
            self.push(left)?;
            let right = self.to_text(right)?;
            self.push(right)?;
            self.concat(left, right)?
        } else {
            let sum = self.to_number(left)? + self.to_number(right)?;
            self.number(sum)?
        };
        self.heap.sp = mark;
        Ok(sum)
    }

    /// Hands a string's text to a function as UTF-8, piece by piece; a lone
    /// surrogate becomes U+FFFD.
    pub(crate) fn pieces(&mut self, view: &View<'m>, mut take: impl FnMut(&mut Self, &str)) {
        const PIECE: usize = 64;
        let mut buffer = [0u8; PIECE];
        let mut used = 0;
        let mut at = 0;
        while at < view.len() {
            let (point, units) = self.code_point(view, at);
            at += units;
            let ch = char::from_u32(point).unwrap_or(char::REPLACEMENT_CHARACTER);
            used += ch.encode_utf8(&mut buffer[used..]).len();
            if used > PIECE - 4 || at == view.len() {
                take(self, core::str::from_utf8(&buffer[..used]).unwrap_or_default());
                used = 0;
            }
        }
    }

    /// Writes a value's text for a person: what ToString gives for primitives
    /// and error objects, and a word for other objects. It runs no script.
    pub fn describe(
        &mut self,
        value: Value<L>,
        out: &mut dyn core::fmt::Write,
    ) -> core::fmt::Result {
        if let Some(object) = value.as_object() {
            return self.hold(|vm| vm.describe_object(object, out));
        }
        if let Some(number) = self.as_number(value) {
            return with_text::<H, _>(number, |text| out.write_str(text));
        }
        if value.is_symbol() {
            out.write_str("Symbol(")?;
            let description = self.symbol_description(value);
            if !description.is_undefined() {
                self.describe(description, out)?;
            }
            return out.write_str(")");
        }
        match self.view(value) {
            Some(view) => {
                let mut result = Ok(());
                self.pieces(&view, |_, piece| result = result.and(out.write_str(piece)));
                result
            }
            None => out.write_str(match value.tag() {
                Tag::Special => match value.payload() {
                    special::UNDEFINED => "undefined",
                    special::NULL => "null",
                    special::FALSE => "false",
                    special::TRUE => "true",
                    special::HOLE => "(hole)",
                    special::UNINITIALISED => "(uninitialised)",
                    _ => "(elsewhere)",
                },
                _ => "(unknown)",
            }),
        }
    }

    fn describe_object(
        &mut self,
        object: Ref,
        out: &mut dyn core::fmt::Write,
    ) -> core::fmt::Result {
        match self.class(object) {
            Class::Error => {
                let name = self.plain(object, names::NAME);
                let message = self.plain(object, names::MESSAGE);
                match name {
                    Some(name) if !name.is_object() => self.describe(name, out)?,
                    _ => out.write_str("Error")?,
                }
                match message.filter(|m| m.is_string() && !self.is_text(*m, "")) {
                    Some(message) => {
                        out.write_str(": ")?;
                        self.describe(message, out)
                    }
                    None => Ok(()),
                }
            }
            Class::Function => out.write_str("(function)"),
            Class::Array => write!(out, "(array of {})", self.array_len(object)),
            _ => out.write_str("(object)"),
        }
    }

    /// A data property along the prototype chain, without running a getter.
    fn plain(&mut self, object: Ref, name: NameId) -> Option<Value<L>> {
        let mut holder = object;
        while !holder.is_none() {
            match self.get_own(holder, Key::name(name)) {
                Ok(Some(crate::object::Own::Data { value, .. })) => return Some(value),
                Ok(None) => holder = self.prototype(holder),
                _ => return None,
            }
        }
        None
    }

    /// A value as a Rust string, lone surrogates replaced, into a buffer that the
    /// host gives. ToString is applied, which may run script code.
    pub fn write_text(
        &mut self,
        value: Value<L>,
        out: &mut dyn core::fmt::Write,
    ) -> Result<(), Raise> {
        let text = self.to_text(value)?;
        let Some(view) = self.view(text) else { return Ok(()) };
        let mut failed = false;
        self.pieces(&view, |_, piece| failed |= out.write_str(piece).is_err());
        if failed { Err(Raise::stop(StopKind::Host)) } else { Ok(()) }
    }
}

/// ECMA-262, ToInt32 on a number.
pub(crate) fn wrap_to_i32(number: f64) -> i32 {
    let int = number as i32;
    if f64::from(int) == number {
        return int;
    }
    if !number.is_finite() {
        return 0;
    }
    let modulus = 4_294_967_296.0;
    let wrapped = crate::remainder::fmod(libm::trunc(number), modulus);
    (wrapped as i64) as i32
}
