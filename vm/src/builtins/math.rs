//! `Math` (ECMA-262, "The Math Object"), over `libm`: the same bits on every
//! host, which the host's own library would not promise.

use crate::Host;
use crate::error::Raise;
use crate::host::Call;
use crate::interp::power;
use crate::layout::Layout;
use crate::value::Value;
use crate::vm::Vm;

/// Functions of one number that `libm` has with every edge the standard asks for.
macro_rules! unary {
    ($($(#[doc = $doc:literal])* $name:ident = $function:expr;)*) => {$(
        $(#[doc = $doc])*
        pub(super) fn $name<L: Layout, H: Host>(
            vm: &mut Vm<'_, L, H>,
            call: Call<L>,
        ) -> Result<Value<L>, Raise> {
            apply(vm, &call, $function)
        }
    )*};
}

unary! {
    /// ECMA-262, Math.abs ( x ).
    abs = libm::fabs;
    /// ECMA-262, Math.acos ( x ).
    acos = libm::acos;
    /// ECMA-262, Math.acosh ( x ).
    acosh = libm::acosh;
    /// ECMA-262, Math.asin ( x ).
    asin = libm::asin;
    /// ECMA-262, Math.asinh ( x ).
    asinh = libm::asinh;
    /// ECMA-262, Math.atan ( x ).
    atan = libm::atan;
    /// ECMA-262, Math.atanh ( x ).
    atanh = libm::atanh;
    /// ECMA-262, Math.cbrt ( x ).
    cbrt = libm::cbrt;
    /// ECMA-262, Math.ceil ( x ).
    ceil = libm::ceil;
    /// ECMA-262, Math.cos ( x ).
    cos = libm::cos;
    /// ECMA-262, Math.cosh ( x ).
    cosh = libm::cosh;
    /// ECMA-262, Math.exp ( x ).
    exp = libm::exp;
    /// ECMA-262, Math.expm1 ( x ).
    expm1 = libm::expm1;
    /// ECMA-262, Math.f16round ( x ).
    f16round = crate::bytes::half_precision;
    /// ECMA-262, Math.floor ( x ).
    floor = libm::floor;
    /// ECMA-262, Math.fround ( x ).
    fround = |number| f64::from(number as f32);
    /// ECMA-262, Math.log ( x ).
    log = libm::log;
    /// ECMA-262, Math.log10 ( x ).
    log10 = libm::log10;
    /// ECMA-262, Math.log1p ( x ).
    log1p = libm::log1p;
    /// ECMA-262, Math.log2 ( x ).
    log2 = libm::log2;
    /// ECMA-262, Math.round ( x ).
    round = nearest;
    /// ECMA-262, Math.sign ( x ).
    sign = |number| if number > 0.0 { 1.0 } else if number < 0.0 { -1.0 } else { number };
    /// ECMA-262, Math.sin ( x ).
    sin = libm::sin;
    /// ECMA-262, Math.sinh ( x ).
    sinh = libm::sinh;
    /// ECMA-262, Math.sqrt ( x ).
    sqrt = libm::sqrt;
    /// ECMA-262, Math.tan ( x ).
    tan = libm::tan;
    /// ECMA-262, Math.tanh ( x ).
    tanh = libm::tanh;
    /// ECMA-262, Math.trunc ( x ).
    trunc = libm::trunc;
}

fn apply<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    function: fn(f64) -> f64,
) -> Result<Value<L>, Raise> {
    let number = vm.to_number(vm.arg(call, 0))?;
    vm.number(function(number))
}

/// The nearest whole number, of two the one nearer to +∞; the sign of a zero is
/// the argument's. The difference to the floor is exact; adding a half first
/// would round.
fn nearest(number: f64) -> f64 {
    let floor = libm::floor(number);
    let whole = if number - floor >= 0.5 { floor + 1.0 } else { floor };
    libm::copysign(whole, number)
}

/// ECMA-262, Math.atan2 ( y, x ).
pub(super) fn atan2<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (y, x) = two_numbers(vm, &call)?;
    vm.number(libm::atan2(y, x))
}

/// ECMA-262, Math.pow ( base, exponent ).
pub(super) fn pow<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (base, exponent) = two_numbers(vm, &call)?;
    vm.number(power(base, exponent))
}

fn two_numbers<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
) -> Result<(f64, f64), Raise> {
    Ok((vm.to_number(vm.arg(call, 0))?, vm.to_number(vm.arg(call, 1))?))
}

/// ECMA-262, Math.clz32 ( x ).
pub(super) fn clz32<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let word = vm.to_u32(vm.arg(&call, 0))?;
    Ok(Value::small(word.leading_zeros() as i32))
}

/// ECMA-262, Math.imul ( x, y ).
pub(super) fn imul<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let a = vm.to_i32(vm.arg(&call, 0))?;
    let b = vm.to_i32(vm.arg(&call, 1))?;
    vm.number(f64::from(a.wrapping_mul(b)))
}

/// ECMA-262, Math.hypot ( ...args ).
pub(super) fn hypot<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let mut largest = 0.0f64;
    let mut n_nan = 0;
    each_number(vm, &call, |number| {
        largest = largest.max(number.abs());
        n_nan += u32::from(number.is_nan());
    })?;
    if largest == f64::INFINITY {
        return vm.number(f64::INFINITY);
    }
    if n_nan > 0 {
        return vm.number(f64::NAN);
    }
    if largest == 0.0 {
        return vm.number(0.0);
    }
    // A power of two scales exactly, and no square leaves the range then.
    let exponent = libm::ilogb(largest);
    let (mut sum, mut lost) = (0.0, 0.0);
    for index in 0..call.argc() {
        let number = vm.as_number(vm.arg(&call, index)).unwrap_or(0.0);
        let scaled = libm::scalbn(number, -exponent);
        // What rounding takes from one addition, the next gives back.
        let term = scaled * scaled - lost;
        let next = sum + term;
        lost = (next - sum) - term;
        sum = next;
    }
    vm.number(libm::scalbn(libm::sqrt(sum), exponent))
}

/// ECMA-262, Math.max ( ...args ).
pub(super) fn max<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let mut highest = f64::NEG_INFINITY;
    each_number(vm, &call, |number| {
        let above = number > highest || number == highest && highest.is_sign_negative();
        if above || number.is_nan() {
            highest = if highest.is_nan() { highest } else { number };
        }
    })?;
    vm.number(highest)
}

/// ECMA-262, Math.min ( ...args ).
pub(super) fn min<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let mut lowest = f64::INFINITY;
    each_number(vm, &call, |number| {
        let below = number < lowest || number == lowest && number.is_sign_negative();
        if below || number.is_nan() {
            lowest = if lowest.is_nan() { lowest } else { number };
        }
    })?;
    vm.number(lowest)
}

/// Converts the arguments, all of them before anything else happens, and shows
/// each.
fn each_number<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    mut take: impl FnMut(f64),
) -> Result<(), Raise> {
    for index in 0..call.argc() {
        let value = vm.arg(call, index);
        let number = match vm.as_number(value) {
            Some(number) => number,
            None => {
                let number = vm.to_number(value)?;
                let value = vm.number(number)?;
                vm.set_arg(call, index, value);
                number
            }
        };
        take(number);
    }
    Ok(())
}

/// ECMA-262, Math.random ( ): SplitMix64 (Steele, Lea and Flood, "Fast Splittable
/// Pseudorandom Number Generators", 2014), from the seed of the options, so that
/// a run can be repeated. The upper 53 bits make the number.
pub(super) fn random<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    _: Call<L>,
) -> Result<Value<L>, Raise> {
    vm.random = vm.random.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let mut bits = vm.random;
    bits = (bits ^ bits >> 30).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    bits = (bits ^ bits >> 27).wrapping_mul(0x94d0_49bb_1331_11eb);
    bits ^= bits >> 31;
    vm.number((bits >> 11) as f64 / 9_007_199_254_740_992.0)
}
