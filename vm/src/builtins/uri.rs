//! The URI functions of the global object (ECMA-262, "URI Handling Functions").

use super::Intrinsic;
use crate::Host;
use crate::error::Raise;
use crate::host::Call;
use crate::layout::Layout;
use crate::text::View;
use crate::value::Value;
use crate::vm::Vm;

/// What `encodeURI` leaves as it is besides, and `decodeURI` does not decode.
const RESERVED: &[u8] = b";/?:@&=+$,#";

/// ECMA-262, encodeURI ( uri ).
pub(super) fn encode_uri<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    encode(vm, vm.arg(&call, 0), RESERVED)
}

/// ECMA-262, encodeURIComponent ( uriComponent ).
pub(super) fn encode_uri_component<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    encode(vm, vm.arg(&call, 0), b"")
}

/// ECMA-262, decodeURI ( encodedURI ).
pub(super) fn decode_uri<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    decode(vm, vm.arg(&call, 0), RESERVED)
}

/// ECMA-262, decodeURIComponent ( encodedURIComponent ).
pub(super) fn decode_uri_component<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    decode(vm, vm.arg(&call, 0), b"")
}

fn throw_uri<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, what: &str) -> Raise {
    vm.throw_error(Intrinsic::UriErrorPrototype, what, None)
}

/// ECMA-262, Encode.
fn encode<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    value: Value<L>,
    extra: &[u8],
) -> Result<Value<L>, Raise> {
    const HEX: &[u8; 16] = b"0123456789ABCDEF";
    let text = vm.to_text(value)?;
    vm.push(text)?;
    let Some(view) = vm.view(text) else { return Ok(text) };
    let mut builder = vm.text_builder()?;
    let mut at = 0;
    while at < view.len() {
        let (point, units) = vm.code_point(&view, at);
        at += units;
        let plain = u8::try_from(point).is_ok_and(|byte| {
            byte.is_ascii_alphanumeric() || b"_-.!~*'()".contains(&byte) || extra.contains(&byte)
        });
        if plain {
            builder.push_unit(vm, point as u16)?;
            continue;
        }
        let Some(ch) = char::from_u32(point) else {
            return Err(throw_uri(vm, "a lone surrogate cannot be encoded"));
        };
        for &byte in ch.encode_utf8(&mut [0; 4]).as_bytes() {
            builder.push_unit(vm, u16::from(b'%'))?;
            for digit in [byte >> 4, byte & 15] {
                builder.push_unit(vm, u16::from(HEX[digit as usize]))?;
            }
        }
    }
    builder.finish(vm)
}

/// ECMA-262, Decode.
fn decode<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    value: Value<L>,
    preserved: &[u8],
) -> Result<Value<L>, Raise> {
    let text = vm.to_text(value)?;
    vm.push(text)?;
    let Some(view) = vm.view(text) else { return Ok(text) };
    let mut builder = vm.text_builder()?;
    let mut at = 0;
    while at < view.len() {
        let unit = vm.unit(&view, at);
        if unit != u16::from(b'%') {
            builder.push_unit(vm, unit)?;
            at += 1;
            continue;
        }
        let Some((ch, units)) = escaped_char(vm, &view, at) else {
            return Err(throw_uri(vm, "a malformed escape sequence"));
        };
        if u8::try_from(ch).is_ok_and(|byte| preserved.contains(&byte)) {
            builder.push_view(vm, &view, at, at + units)?;
        } else {
            builder.push_point(vm, u32::from(ch))?;
        }
        at += units;
    }
    builder.finish(vm)
}

/// The code point of the octets escaped from a place on, and the code units that
/// their escapes take.
fn escaped_char<'m, L: Layout, H: Host>(
    vm: &Vm<'m, L, H>,
    view: &View<'m>,
    at: usize,
) -> Option<(char, usize)> {
    let first = octet(vm, view, at)?;
    let n_octets = match first.leading_ones() {
        0 => 1,
        n @ 2..=4 => n as usize,
        _ => return None,
    };
    let mut octets = [first; 4];
    for (index, place) in octets[..n_octets].iter_mut().enumerate().skip(1) {
        *place = octet(vm, view, at + 3 * index)?;
    }
    let ch = core::str::from_utf8(&octets[..n_octets]).ok()?.chars().next()?;
    Some((ch, 3 * n_octets))
}

/// `%` and two hexadecimal digits (ECMA-262, ParseHexOctet).
fn octet<'m, L: Layout, H: Host>(vm: &Vm<'m, L, H>, view: &View<'m>, at: usize) -> Option<u8> {
    if at + 3 > view.len() || vm.unit(view, at) != u16::from(b'%') {
        return None;
    }
    let digit = |at: usize| {
        let unit = vm.unit(view, at);
        u8::try_from(unit).ok().and_then(|byte| char::from(byte).to_digit(16))
    };
    u8::try_from(digit(at + 1)? << 4 | digit(at + 2)?).ok()
}
