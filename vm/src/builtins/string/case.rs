//! Mapping letters between cases, by the Unicode Default Case Conversion: the
//! standard library's tables, and the one rule of them that looks at neighbours.

use super::this_text;
use crate::Host;
use crate::error::Raise;
use crate::host::Call;
use crate::layout::Layout;
use crate::text::View;
use crate::value::Value;
use crate::vm::Vm;

/// ECMA-262, String.prototype.toLowerCase ( ), and toLocaleLowerCase: without
/// ECMA-402 no locale asks for anything else.
pub(crate) fn to_lower_case<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (value, text) = this_text(vm, &call)?;
    vm.spend_on_units(text.len())?;
    if let Some(ascii) = ascii_mapped(vm, value, &text, |byte| byte.to_ascii_lowercase()) {
        return ascii;
    }
    let mut result = vm.text_builder()?;
    let mut at = 0;
    while at < text.len() {
        let (point, units) = vm.code_point(&text, at);
        match char::from_u32(point) {
            Some(SIGMA) => {
                vm.spend_on_units(text.len())?;
                let ends = is_final(vm, &text, at);
                result.push_point(vm, if ends { 0x3c2 } else { 0x3c3 })?;
            }
            Some(letter) => {
                for mapped in letter.to_lowercase() {
                    result.push_point(vm, mapped.into())?;
                }
            }
            None => result.push_point(vm, point)?,
        }
        at += units;
    }
    result.finish(vm)
}

/// ECMA-262, String.prototype.toUpperCase ( ), and toLocaleUpperCase.
pub(crate) fn to_upper_case<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (value, text) = this_text(vm, &call)?;
    vm.spend_on_units(text.len())?;
    if let Some(ascii) = ascii_mapped(vm, value, &text, |byte| byte.to_ascii_uppercase()) {
        return ascii;
    }
    let mut result = vm.text_builder()?;
    let mut at = 0;
    while at < text.len() {
        let (point, units) = vm.code_point(&text, at);
        match char::from_u32(point) {
            Some(letter) => {
                for mapped in letter.to_uppercase() {
                    result.push_point(vm, mapped.into())?;
                }
            }
            None => result.push_point(vm, point)?,
        }
        at += units;
    }
    result.finish(vm)
}

/// The whole string mapped, if it is ASCII: the same string where nothing changes.
fn ascii_mapped<'m, L: Layout, H: Host>(
    vm: &mut Vm<'m, L, H>,
    value: Value<L>,
    text: &View<'m>,
    map: fn(u8) -> u8,
) -> Option<Result<Value<L>, Raise>> {
    let mut changes = false;
    for at in 0..text.len() {
        let byte = u8::try_from(vm.unit(text, at)).ok().filter(u8::is_ascii)?;
        changes |= map(byte) != byte;
    }
    if !changes {
        return Some(Ok(value));
    }
    Some(vm.text_of(text.len(), false, |vm, at| u16::from(map(vm.unit(text, at) as u8))))
}

const SIGMA: char = '\u{3a3}';

/// Unicode, Final_Sigma: a cased letter before, and none behind, whatever is
/// ignored for case lies between.
fn is_final<'m, L: Layout, H: Host>(vm: &Vm<'m, L, H>, text: &View<'m>, at: usize) -> bool {
    let mut before = at;
    let preceded = loop {
        let Some(start) = before.checked_sub(1) else { break false };
        let pair = start > 0 && vm.code_point(text, start - 1).1 == 2;
        before = start - usize::from(pair);
        let (point, _) = vm.code_point(text, before);
        if !is_ignored(point) {
            break is_cased(point);
        }
    };
    let mut behind = at + 1;
    let followed = loop {
        if behind >= text.len() {
            break false;
        }
        let (point, units) = vm.code_point(text, behind);
        if !is_ignored(point) {
            break is_cased(point);
        }
        behind += units;
    };
    preceded && !followed
}

/// Unicode, Cased: lower case, upper case or title case.
fn is_cased(point: u32) -> bool {
    let title = matches!(
        point,
        0x1c5 | 0x1c8 | 0x1cb | 0x1f2 | 0x1f88..=0x1f8f | 0x1f98..=0x1f9f | 0x1fa8..=0x1faf
            | 0x1fbc | 0x1fcc | 0x1ffc
    );
    title || char::from_u32(point).is_some_and(|c| c.is_lowercase() || c.is_uppercase())
}

/// Unicode, Case_Ignorable, as far as it can stand beside a Greek letter: ASCII,
/// Latin-1, modifiers, the combining marks of the scripts that have case, general
/// punctuation, musical marks and variation selectors. The whole property would take more flash
/// than all other rules for strings together.
fn is_ignored(point: u32) -> bool {
    matches!(
        point,
        0x27 | 0x2e | 0x3a | 0x5e | 0x60 | 0xa8 | 0xad | 0xaf | 0xb4 | 0xb7 | 0xb8
            | 0x2b0..=0x36f
            | 0x374 | 0x375 | 0x37a | 0x384 | 0x385 | 0x387
            | 0x483..=0x489
            | 0x559 | 0x55f
            | 0x1ab0..=0x1aff
            | 0x1d2c..=0x1d6a | 0x1d78 | 0x1d9b..=0x1dbf
            | 0x1dc0..=0x1dff
            | 0x1fbd | 0x1fbf..=0x1fc1 | 0x1fcd..=0x1fcf | 0x1fdd..=0x1fdf
            | 0x1fed..=0x1fef | 0x1ffd | 0x1ffe
            | 0x200b..=0x200f | 0x2018 | 0x2019 | 0x2024 | 0x2027 | 0x202a..=0x202e
            | 0x2060..=0x2064 | 0x2066..=0x206f
            | 0x180b..=0x180f
            | 0x20d0..=0x20f0
            | 0xfe00..=0xfe0f | 0xfe20..=0xfe2f
            | 0xfeff
            | 0x1d167..=0x1d169 | 0x1d173..=0x1d182 | 0x1d185..=0x1d18b | 0x1d1aa..=0x1d1ad
            | 0x1d242..=0x1d244
            | 0xe0001 | 0xe0020..=0xe007f | 0xe0100..=0xe01ef
    )
}
