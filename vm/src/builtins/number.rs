//! `Number` and `Number.prototype` (ECMA-262, "Number Objects").
//!
//! It owns how digits become text; the digits come from `digits.rs`.

use super::Intrinsic;
use crate::Host;
use crate::digits::{self, Cut, Shortest};
use crate::error::Raise;
use crate::host::Call;
use crate::layout::Layout;
use crate::object::Class;
use crate::value::Value;
use crate::vm::Vm;

/// ECMA-262, Number ( value ).
pub(super) fn construct<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let number = if call.argc() == 0 { 0.0 } else { vm.to_number(vm.arg(&call, 0))? };
    let value = vm.number(number)?;
    if !call.constructs {
        return Ok(value);
    }
    vm.push(value)?;
    let prototype = vm.prototype_for(&call, Intrinsic::NumberPrototype)?;
    vm.new_wrapper(Class::Number, prototype, value).map(Value::object)
}

/// ECMA-262, Number.isFinite ( number ).
pub(super) fn is_finite<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let number = vm.as_number(vm.arg(&call, 0));
    Ok(Value::boolean(number.is_some_and(f64::is_finite)))
}

/// ECMA-262, Number.isInteger ( number ).
pub(super) fn is_integer<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let number = vm.as_number(vm.arg(&call, 0));
    Ok(Value::boolean(number.is_some_and(is_integral)))
}

/// ECMA-262, Number.isNaN ( number ).
pub(super) fn is_nan<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let number = vm.as_number(vm.arg(&call, 0));
    Ok(Value::boolean(number.is_some_and(f64::is_nan)))
}

/// ECMA-262, Number.isSafeInteger ( number ).
pub(super) fn is_safe_integer<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let number = vm.as_number(vm.arg(&call, 0));
    let safe = |number: f64| is_integral(number) && number.abs() <= MAX_SAFE_INTEGER;
    Ok(Value::boolean(number.is_some_and(safe)))
}

/// ECMA-262, "Number.MAX_SAFE_INTEGER".
pub(super) const MAX_SAFE_INTEGER: f64 = 9_007_199_254_740_991.0;

fn is_integral(number: f64) -> bool {
    number.is_finite() && libm::trunc(number) == number
}

/// ECMA-262, Number.prototype.valueOf ( ).
pub(super) fn value_of<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let number = this_number(vm, &call)?;
    vm.number(number)
}

/// ECMA-262, Number.prototype.toLocaleString ( ): as toString, for want of
/// ECMA-402.
pub(super) fn to_locale_string<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let number = this_number(vm, &call)?;
    vm.number_text(number)
}

/// ECMA-262, Number.prototype.toString ( radix ).
pub(super) fn to_string<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let number = this_number(vm, &call)?;
    let radix = vm.arg(&call, 0);
    let radix = if radix.is_undefined() { 10.0 } else { vm.to_integer(radix)? };
    if !(2.0..=36.0).contains(&radix) {
        return Err(vm.throw_range("the radix is not from 2 to 36"));
    }
    if radix == 10.0 || number == 0.0 || !number.is_finite() {
        return vm.number_text(number);
    }
    let radix = radix as u32;
    if number.abs() <= MAX_SAFE_INTEGER && is_integral(number) {
        return integer_text(vm, number, radix);
    }
    fewest_digits_text(vm, number, radix)
}

/// A whole number that a double holds exactly: no other lies nearer.
fn integer_text<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    number: f64,
    radix: u32,
) -> Result<Value<L>, Raise> {
    let mut bytes = [0; 54];
    let mut at = bytes.len();
    let mut rest = number.abs() as u64;
    while rest > 0 {
        at -= 1;
        bytes[at] = digit_byte((rest % u64::from(radix)) as u8);
        rest /= u64::from(radix);
    }
    if number < 0.0 {
        at -= 1;
        bytes[at] = b'-';
    }
    vm.text_from_latin1(&bytes[at..])
}

/// ECMA-262, Number::toString for a radix other than ten: the fewest digits, and
/// never an exponent.
fn fewest_digits_text<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    number: f64,
    radix: u32,
) -> Result<Value<L>, Raise> {
    let mut text = vm.text_builder()?;
    if number < 0.0 {
        text.push_str(vm, "-")?;
    }
    let digits = Shortest::new(number.abs(), radix);
    let point = digits.point();
    if point <= 0 {
        text.push_str(vm, "0.")?;
        for _ in point..0 {
            text.push_str(vm, "0")?;
        }
    }
    let mut place = 0;
    for digit in digits {
        if place == point && place > 0 {
            text.push_str(vm, ".")?;
        }
        text.push_unit(vm, u16::from(digit_byte(digit)))?;
        place += 1;
    }
    for _ in place..point {
        text.push_str(vm, "0")?;
    }
    text.finish(vm)
}

fn digit_byte(digit: u8) -> u8 {
    if digit < 10 { b'0' + digit } else { b'a' + digit - 10 }
}

/// ECMA-262, Number.prototype.toFixed ( fractionDigits ).
pub(super) fn to_fixed<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let number = this_number(vm, &call)?;
    let count = digit_count(vm, &call, 0)?;
    let Some(fraction) = count else { return Err(vm.throw_range(COUNT_RANGE)) };
    if !number.is_finite() || number.abs() >= 1e21 {
        return vm.number_text(number);
    }
    let mut line = Line::new();
    if number < 0.0 {
        line.put(b"-");
    }
    if number == 0.0 {
        line.put_fixed(b"", 0, fraction);
    } else {
        let rounded = digits::round(number.abs(), Cut::Fraction(fraction));
        line.put_fixed(rounded.digits(), rounded.point, fraction);
    }
    vm.text_from_latin1(line.bytes())
}

/// ECMA-262, Number.prototype.toExponential ( fractionDigits ).
pub(super) fn to_exponential<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let number = this_number(vm, &call)?;
    let fewest = vm.arg(&call, 0).is_undefined();
    let count = digit_count(vm, &call, 0)?;
    if !number.is_finite() {
        return vm.number_text(number);
    }
    let Some(fraction) = count else { return Err(vm.throw_range(COUNT_RANGE)) };
    let mut line = Line::new();
    if number < 0.0 {
        line.put(b"-");
    }
    if number == 0.0 {
        let zeros = [b'0'; 101];
        line.put_exponential(&zeros[..fraction + 1], 0);
    } else if fewest {
        let shortest = Shortest::new(number.abs(), 10);
        let point = shortest.point();
        let mut digits = [0; 17];
        let mut len = 0;
        for (place, digit) in digits.iter_mut().zip(shortest) {
            *place = b'0' + digit;
            len += 1;
        }
        line.put_exponential(&digits[..len], point - 1);
    } else {
        let rounded = digits::round(number.abs(), Cut::Significant(fraction + 1));
        line.put_exponential(rounded.digits(), rounded.point - 1);
    }
    vm.text_from_latin1(line.bytes())
}

/// ECMA-262, Number.prototype.toPrecision ( precision ).
pub(super) fn to_precision<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let number = this_number(vm, &call)?;
    if vm.arg(&call, 0).is_undefined() {
        return vm.number_text(number);
    }
    let count = digit_count(vm, &call, 1)?;
    if !number.is_finite() {
        return vm.number_text(number);
    }
    let Some(precision) = count else { return Err(vm.throw_range(COUNT_RANGE)) };
    let mut line = Line::new();
    if number < 0.0 {
        line.put(b"-");
    }
    if number == 0.0 {
        line.put_fixed(b"", 0, precision - 1);
        return vm.text_from_latin1(line.bytes());
    }
    let rounded = digits::round(number.abs(), Cut::Significant(precision));
    let exponent = rounded.point - 1;
    if exponent < -6 || exponent >= precision as i32 {
        line.put_exponential(rounded.digits(), exponent);
    } else {
        let fraction = precision as i32 - rounded.point;
        line.put_fixed(rounded.digits(), rounded.point, fraction as usize);
    }
    vm.text_from_latin1(line.bytes())
}

const COUNT_RANGE: &str = "the count of digits is out of range";

/// The count of digits that the first argument asks for, if it is in the range
/// from `least` to 100.
fn digit_count<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    least: usize,
) -> Result<Option<usize>, Raise> {
    let count = vm.to_integer(vm.arg(call, 0))?;
    let fits = (least as f64..=100.0).contains(&count);
    Ok(fits.then_some(count as usize))
}

/// ECMA-262, ThisNumberValue.
fn this_number<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, call: &Call<L>) -> Result<f64, Raise> {
    let value = match call.this.as_object() {
        Some(object) if vm.class(object) == Class::Number => vm.internal_value(object),
        _ => call.this,
    };
    match vm.as_number(value) {
        Some(number) => Ok(number),
        None => Err(vm.throw_type("the this value is not a number")),
    }
}

/// A number's text on its way, on the host's stack.
struct Line {
    bytes: [u8; Line::ROOM],
    len: usize,
}

impl Line {
    /// A sign, 21 digits, a point and 100 digits; or a sign, 101 digits, a point
    /// and an exponent.
    const ROOM: usize = 128;

    fn new() -> Self {
        Line { bytes: [0; Line::ROOM], len: 0 }
    }

    fn bytes(&self) -> &[u8] {
        &self.bytes[..self.len]
    }

    fn put(&mut self, text: &[u8]) {
        for (place, &byte) in self.bytes[self.len..].iter_mut().zip(text) {
            *place = byte;
            self.len += 1;
        }
    }

    /// The digits with that many behind the point, zeros for those they lack.
    fn put_fixed(&mut self, digits: &[u8], point: i32, fraction: usize) {
        let digit =
            |place: i32| usize::try_from(place).ok().and_then(|place| digits.get(place)).copied();
        if point <= 0 {
            self.put(b"0");
        }
        for place in 0..point {
            self.put(&[digit(place).unwrap_or(b'0')]);
        }
        if fraction > 0 {
            self.put(b".");
        }
        for place in 0..fraction as i32 {
            self.put(&[digit(point + place).unwrap_or(b'0')]);
        }
    }

    /// A digit, the others behind a point, and the exponent with its sign.
    fn put_exponential(&mut self, digits: &[u8], exponent: i32) {
        let (first, others) = digits.split_at(1.min(digits.len()));
        self.put(first);
        if !others.is_empty() {
            self.put(b".");
            self.put(others);
        }
        self.put(if exponent < 0 { b"e-" } else { b"e+" });
        let magnitude = exponent.unsigned_abs();
        for unit in [100, 10, 1] {
            if magnitude >= unit || unit == 1 {
                self.put(&[b'0' + (magnitude / unit % 10) as u8]);
            }
        }
    }
}
