//! The page of `listing`: the source beside the bytes, and which part of the image they are.

use super::super::counted;
use super::code;
use super::page::Page;
use crate::listed::Listed;

pub(in crate::report) fn render(listed: &Listed) -> String {
    let mut page = Page::plain(format!("The instructions of {}", listed.script)).wide();
    let set = listed.set.as_ref().map(|set| format!(", instruction set {set}")).unwrap_or_default();
    page.lead(&format!(
        "{} under {}{set}.",
        counted(listed.functions.len() as u64, "function"),
        listed.encoding
    ));
    page.section("Instructions");
    page.paragraph(
        "A place is an offset in the code section, hexadecimal; a colon behind it says that a branch \
         or a guard leads there. A stack effect is ( taken -- left ), the top of the stack last.",
    );
    code::push(&mut page, listed);
    page.section("Bytes");
    code::image(&mut page, listed);
    page.paragraph(
        "Bytes of the image, which is carried out where it lies, in flash or in RAM. What a run \
         takes of the heap is told by weigh and memory.",
    );
    page.render()
}
