//! Arithmetic on small integers, and numeric handlers past it.

use core::cmp::Ordering;

use super::Next;
use crate::Host;
use crate::error::Raise;
use crate::layout::Layout;
use crate::value::Value;
use crate::vm::Vm;

/// Of two small integers: nothing if one is something else, or the result no small integer.
impl<L: Layout> Value<L> {
    #[inline(always)]
    pub(super) fn sum(self, other: Self) -> Option<Self> {
        L::add_ints(self.0, other.0).map(Value)
    }

    #[inline(always)]
    pub(super) fn difference(self, other: Self) -> Option<Self> {
        L::subtract_ints(self.0, other.0).map(Value)
    }

    /// Nor one that may be -0.
    #[inline(always)]
    pub(super) fn product(self, other: Self) -> Option<Self> {
        let (x, y) = L::both_ints(self.0, other.0)?;
        Value::int(x.checked_mul(y).filter(|&product| product != 0)?)
    }

    /// Nor one that may be -0.
    #[inline(always)]
    pub(super) fn small_remainder(self, other: Self) -> Option<Self> {
        let (x, y) = L::both_ints(self.0, other.0)?;
        if x >= 0 && y > 0 { Some(Value::small(x % y)) } else { None }
    }
}

/// What differs between operations of one kind is a pointer: on a board their handlers
/// share one body, on a host each is laid out with its own operation in it.
impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// A binary operation on numbers. On a host inline as far as two numbers go: a control
    /// script's filter is made of these.
    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    pub(super) fn numbers(&mut self, f: fn(f64, f64) -> f64) -> Next {
        let (b, a) = (self.peek(0), self.peek(1));
        let result = match (self.as_number(a), self.as_number(b)) {
            (Some(a), Some(b)) => f(a, b),
            _ => {
                let (a, b) = self.to_numbers(a, b)?;
                f(a, b)
            }
        };
        let value = self.number(result)?;
        self.replace(2, value)
    }

    #[inline(never)]
    fn to_numbers(&mut self, a: Value<L>, b: Value<L>) -> Result<(f64, f64), Raise> {
        Ok((self.to_number(a)?, self.to_number(b)?))
    }

    #[inline(never)]
    pub(super) fn add_slow(&mut self) -> Next {
        let (b, a) = (self.peek(0), self.peek(1));
        let sum = match (self.as_number(a), self.as_number(b)) {
            // Where a loop has a quick way they do not come here, and all ways are to
            // collect at the same moments: so blocks move for other sums alone.
            (Some(left), Some(right)) => self.number(left + right)?,
            _ => {
                self.compact_if_wanted();
                self.add_values(self.peek(1), self.peek(0))?
            }
        };
        self.replace(2, sum)
    }

    #[inline(never)]
    pub(super) fn step(&mut self, by: f64) -> Next {
        let number = self.to_number(self.peek(0))?;
        let value = self.number(number + by)?;
        self.replace(1, value)
    }

    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    pub(super) fn bits(&mut self, f: fn(i32, i32) -> i32) -> Next {
        let (b, a) = (self.peek(0), self.peek(1));
        if let Some((x, y)) = L::both_ints(a.0, b.0)
            && let Some(value) = Value::int(f(x, y))
        {
            return self.replace(2, value);
        }
        let (x, y) = self.to_words(a, b)?;
        let value = self.number(f64::from(f(x, y)))?;
        self.replace(2, value)
    }

    #[inline(never)]
    fn to_words(&mut self, a: Value<L>, b: Value<L>) -> Result<(i32, i32), Raise> {
        Ok((self.to_i32(a)?, self.to_i32(b)?))
    }

    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    pub(super) fn order(&mut self, holds: fn(Ordering) -> bool) -> Next {
        let (b, a) = (self.peek(0), self.peek(1));
        if let Some((x, y)) = L::int_order(a.0, b.0) {
            return self.replace(2, Value::boolean(holds(x.cmp(&y))));
        }
        let order = self.order_slow(a, b)?;
        self.replace(2, Value::boolean(order.is_some_and(holds)))
    }

    #[inline(never)]
    fn order_slow(&mut self, a: Value<L>, b: Value<L>) -> Result<Option<Ordering>, Raise> {
        self.compare(a, b)
    }

    pub(super) fn loose(&mut self) -> Result<bool, Raise> {
        let (b, a) = (self.peek(0), self.peek(1));
        self.loosely_equal(a, b)
    }
}

/// ECMA-262, Number::exponentiate: it differs from the C library's where the
/// base is 1 or -1 and the exponent is infinite or NaN.
pub(crate) fn power(base: f64, exponent: f64) -> f64 {
    if exponent.is_nan() || (exponent.is_infinite() && base.abs() == 1.0) {
        return f64::NAN;
    }
    libm::pow(base, exponent)
}
