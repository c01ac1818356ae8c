//! Template literals, and templates behind a tag.

use alloc::vec::Vec;

use scruple_bytecode::ops::Op;

use crate::atoms::Atom;
use crate::function::Function;
use crate::lexer::TemplateChunk;
use crate::narrow;
use crate::parser::{Parsed, Parser};
use crate::reference::Operand;
use crate::token::{Kind, Mark};

impl Parser<'_, '_> {
    /// A template behind its tag ( -- value ). Its strings are known only behind
    /// its substitutions, and come before them in time.
    #[inline(never)]
    pub(crate) fn tagged_template(
        &mut self,
        f: &mut Function<'_>,
        operand: Operand,
    ) -> Parsed<Operand> {
        let open = self.token.mark;
        let callee = self.callee(f, operand, open);
        let depth = f.depth;
        let order = f.begin_order();
        let substitutions = f.begin_segment();
        f.set_depth(depth + 1);
        let mut texts = Vec::new();
        let mut n = 1;
        loop {
            let chunk = self.template_chunk(open)?;
            let text = self.source.get(chunk.start..chunk.end).unwrap_or("");
            texts.push((self.cooked_or_nothing(text), self.raw(text)));
            self.advance();
            if chunk.is_tail {
                break;
            }
            let operand = self.expression(f, false)?;
            self.value(f, operand);
            n += 1;
            if !self.is(Kind::RightBrace) {
                return Err(self.expected("`}` behind a substitution"));
            }
        }
        let behind = f.depth;
        f.end_segment();
        let template = f.begin_segment();
        f.set_depth(depth);
        self.template_object(f, &texts, open);
        f.end_segment();
        f.emit_next(order, template);
        f.emit_next(order, substitutions);
        f.end_order(order);
        f.set_depth(behind);
        f.at(callee.mark);
        f.op_with(callee.op, narrow::to_operand(n));
        Ok(Operand::Value)
    }

    /// ( -- template ): made of cooked and raw strings once, and kept.
    fn template_object(
        &mut self,
        f: &mut Function<'_>,
        texts: &[(Option<Atom>, Atom)],
        mark: Mark,
    ) {
        let site = narrow::to_operand(self.output.n_templates);
        self.output.n_templates += 1;
        let made = f.label();
        f.at(mark);
        f.op_with(Op::LoadTemplate, site);
        f.branch(Op::BranchKeepDefined, made);
        f.op_with(Op::PushInt, site);
        for &(cooked, raw) in texts {
            match cooked {
                Some(cooked) => self.push_text(f, cooked),
                None => f.op(Op::PushUndefined),
            }
            self.push_text(f, raw);
        }
        f.op_with(Op::MakeTemplate, narrow::to_operand(2 * narrow::to_u32(texts.len())));
        f.bind(made);
    }

    /// TemplateLiteral ( -- string )
    #[inline(never)]
    pub(crate) fn template_literal(&mut self, f: &mut Function<'_>) -> Parsed<Operand> {
        let open = self.token.mark;
        // Whether a string of what stands before is on the stack.
        let mut has_text = false;
        loop {
            let chunk = self.template_chunk(open)?;
            let text = self.source.get(chunk.start..chunk.end).unwrap_or("");
            let atom = self.cook(text, chunk.mark, 0, true)?;
            self.advance();
            let is_whole = chunk.is_tail && !has_text;
            if is_whole {
                return Ok(Operand::Text(atom));
            }
            if atom != Atom::EMPTY {
                self.push_text(f, atom);
                if has_text {
                    f.at(open);
                    f.op(Op::Add);
                }
                has_text = true;
            }
            if chunk.is_tail {
                return Ok(Operand::Value);
            }
            let mark = self.token.mark;
            let operand = self.expression(f, false)?;
            self.value(f, operand);
            if !self.is(Kind::RightBrace) {
                return Err(self.expected("`}` behind a substitution"));
            }
            f.at(mark);
            f.op(Op::ToText);
            if has_text {
                f.op(Op::Add);
            }
            has_text = true;
        }
    }
    /// The text up to the next substitution or the end: the lexer stands behind the
    /// backtick or the brace.
    fn template_chunk(&mut self, open: Mark) -> Parsed<TemplateChunk> {
        let chunk = self.lexer.template_chunk();
        chunk
            .ok_or_else(|| self.syntax(open, "sec-template-literals", "this template does not end"))
    }
}
