//! Numeric handlers past their fast paths.

use core::cmp::Ordering;

use super::At;
use crate::Host;
use crate::error::Raise;
use crate::layout::Layout;
use crate::value::Value;
use crate::vm::Vm;

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// A binary operation on numbers. Inline as far as two numbers go: a control
    /// script's filter is made of these.
    #[inline(always)]
    pub(super) fn numbers(
        &mut self,
        at: At<L>,
        f: impl Fn(f64, f64) -> f64,
    ) -> Result<At<L>, Raise> {
        let (b, a) = (self.peek(at, 0), self.peek(at, 1));
        self.sync(at);
        let result = match (self.as_number(a), self.as_number(b)) {
            (Some(a), Some(b)) => f(a, b),
            _ => {
                let (a, b) = self.to_numbers(a, b)?;
                f(a, b)
            }
        };
        let value = self.number(result)?;
        Ok(self.replace_after(at, 2, value))
    }

    #[inline(never)]
    fn to_numbers(&mut self, a: Value<L>, b: Value<L>) -> Result<(f64, f64), Raise> {
        Ok((self.to_number(a)?, self.to_number(b)?))
    }

    #[inline(never)]
    pub(super) fn add_slow(&mut self, at: At<L>) -> Result<At<L>, Raise> {
        self.sync(at);
        let (b, a) = (self.peek(at, 0), self.peek(at, 1));
        let sum = self.add_values(a, b)?;
        Ok(self.replace_after(at, 2, sum))
    }

    #[inline(never)]
    pub(super) fn step(&mut self, at: At<L>, by: f64) -> Result<At<L>, Raise> {
        self.sync(at);
        let number = self.to_number(self.peek(at, 0))?;
        let value = self.number(number + by)?;
        Ok(self.replace_after(at, 1, value))
    }

    #[inline(always)]
    pub(super) fn bits(&mut self, at: At<L>, f: impl Fn(i32, i32) -> i32) -> Result<At<L>, Raise> {
        let (b, a) = (self.peek(at, 0), self.peek(at, 1));
        if let Some((x, y)) = L::both_ints(a.0, b.0)
            && let Some(value) = Value::int(f(x, y))
        {
            return Ok(self.replace(at, 2, value));
        }
        let (x, y) = self.to_words(at, a, b)?;
        let value = self.number(f64::from(f(x, y)))?;
        Ok(self.replace_after(at, 2, value))
    }

    #[inline(never)]
    fn to_words(&mut self, at: At<L>, a: Value<L>, b: Value<L>) -> Result<(i32, i32), Raise> {
        self.sync(at);
        Ok((self.to_i32(a)?, self.to_i32(b)?))
    }

    #[inline(always)]
    pub(super) fn order(
        &mut self,
        at: At<L>,
        ints: impl Fn(i32, i32) -> bool,
        holds: impl Fn(Ordering) -> bool,
    ) -> Result<At<L>, Raise> {
        let (b, a) = (self.peek(at, 0), self.peek(at, 1));
        if let Some((x, y)) = L::both_ints(a.0, b.0) {
            return Ok(self.replace(at, 2, Value::boolean(ints(x, y))));
        }
        let order = self.order_slow(at, a, b)?;
        Ok(self.replace_after(at, 2, Value::boolean(order.is_some_and(holds))))
    }

    #[inline(never)]
    fn order_slow(
        &mut self,
        at: At<L>,
        a: Value<L>,
        b: Value<L>,
    ) -> Result<Option<Ordering>, Raise> {
        self.sync(at);
        self.compare(a, b)
    }

    pub(super) fn loose(&mut self, at: At<L>) -> Result<bool, Raise> {
        self.sync(at);
        let (b, a) = (self.peek(at, 0), self.peek(at, 1));
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
