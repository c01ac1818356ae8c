//! Template objects: one a site of a tagged template, made when it is first come to
//! (ECMA-262, GetTemplateObject).
//!
//! They are kept in one array, which takes heap only once there is one: the number
//! of the site, then the object. It refuses to know of templates without a tag,
//! which are strings.

use super::Next;
use crate::Host;
use crate::error::Raise;
use crate::keys::Key;
use crate::layout::Layout;
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::names;

/// Sites of one image: a call is at least four bytes of a source, and sources end at
/// four million.
const SITE_BITS: u32 = 22;

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// The template object of a site of the running image, or undefined.
    pub(super) fn push_template(&mut self, site: usize) -> Next {
        let made = self.site_key(site).and_then(|key| self.find_template(key));
        self.put(made.unwrap_or(Value::undefined()))
    }

    fn site_key(&self, site: usize) -> Option<Value<L>> {
        let is_small = site < 1 << SITE_BITS;
        is_small.then(|| Value::small((self.current << SITE_BITS | site) as i32))
    }

    fn find_template(&self, key: Value<L>) -> Option<Value<L>> {
        let kept = self.heap.roots.templates;
        if kept.is_none() {
            return None;
        }
        let count = self.array_len(kept);
        let found = (0..count).step_by(2).find(|&index| self.element(kept, index) == Some(key))?;
        self.element(kept, found + 1)
    }

    /// Makes the template object and keeps it: the site lies under its strings.
    pub(super) fn template_of(&mut self, n_texts: usize) -> Next {
        let site = self.peek(n_texts).as_int().and_then(|site| usize::try_from(site).ok());
        let Some(key) = site.and_then(|site| self.site_key(site)) else {
            return Err(Raise::internal("a template without a site"));
        };
        let texts = self.heap.sp;
        let template = self.new_array(n_texts / 2)?;
        self.push(Value::object(template))?;
        let raw = self.new_array(n_texts / 2)?;
        self.push(Value::object(raw))?;
        for depth in (0..n_texts).rev() {
            let is_cooked = (n_texts - 1 - depth).is_multiple_of(2);
            let list = if is_cooked { template } else { raw };
            self.append(list, self.slot(texts + depth))?;
        }
        crate::builtins::freeze_value(self, Value::object(raw))?;
        self.add_property(template, Key::name(names::RAW), Value::object(raw), 0)?;
        crate::builtins::freeze_value(self, Value::object(template))?;
        self.keep_template(key, template)?;
        self.heap.sp = texts;
        self.replace(n_texts + 1, Value::object(template))
    }

    fn keep_template(&mut self, key: Value<L>, template: Ref) -> Result<(), Raise> {
        if self.heap.roots.templates.is_none() {
            self.heap.roots.templates = self.new_array(2)?;
        }
        let kept = self.heap.roots.templates;
        self.append(kept, key)?;
        self.append(kept, Value::object(template))
    }
}
