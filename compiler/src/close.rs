//! The close of a function: its names are settled, its draft is swept, and its
//! row goes to the output.
//!
//! It owns the order of those steps, and what becomes of free names. It refuses
//! the details: records are `variables`, instructions are `sweep`.

use scruple_bytecode::image::{FREE_GLOBAL, Position, record};

use crate::arena::Arena;
use crate::atoms::{Asked, Atom};
use crate::closed::{Closed, FreeRow, FunctionRow, Source};
use crate::diagnostic::DiagnosticKind;
use crate::draft::{ScopeId, Use, VarId};
use crate::function::{Function, FunctionKind};
use crate::narrow;
use crate::output::{Exceeded, limited_depth, limited_slots};
use crate::parser::{Fail, Parser};
use crate::records::{CAPTURED, SEEMS_CONST, State};
use crate::strip::Sink;
use crate::sweep::{Target, sweep};
use crate::token::Mark;

const TOO_LARGE: Exceeded = Exceeded("the function makes more code than a branch can cross");

impl Parser<'_, '_> {
    /// Closes a function inside another. A function with an error is only
    /// given up: nothing of it will be needed.
    pub(crate) fn close_function<'a>(
        &mut self,
        f: &mut Function<'a>,
        arena: &'a Arena<'a>,
        parent: &mut Function<'_>,
        mark: Mark,
    ) -> Result<Closed, Fail> {
        if self.has_errors() {
            f.restore_names(&mut self.atoms);
            return Ok(Closed::default());
        }
        f.close_scopes_to(&mut self.atoms, ScopeId(0));
        let first_free = parent.frees.len();
        let flags = self.settle_names(f, Some(parent));
        let n_slots = f.lay_out_slots();
        self.settle_children(f, Some((parent, first_free)));
        let code = narrow::to_u32(self.output.code.len());
        let mut guards = core::mem::take(&mut self.guards);
        guards.clear();
        let (has_lines, notes_all) = (self.output.has_lines, self.output.notes_all());
        if has_lines {
            // A budget may end anywhere: no function borrows the one before's.
            self.output.lines.add(code, mark.position());
        }
        let target = Target {
            encoding: self.output.encoding,
            chooser: self.output.chooser.as_deref_mut(),
            earlier: self.output.echoes.as_deref_mut().map(|it| &mut it.functions),
            code: &mut self.output.code,
            notes_all,
            lines: has_lines.then_some(&mut self.output.lines),
            guards: &mut guards,
        };
        let swept = sweep(f, arena, &mut self.atoms, target);
        let n_code = narrow::to_u32(self.output.code.len()) - code;
        let n_free = parent.frees.len() - first_free;
        let row = (|| {
            swept.map_err(|_| TOO_LARGE)?;
            Ok(FunctionRow {
                n_code,
                n_params: u8::try_from(f.n_params)
                    .map_err(|_| Exceeded("more than 255 parameters"))?,
                flags,
                n_slots: limited_slots(n_slots)?,
                depth: limited_depth(f.max_depth)?,
                n_free: u16::try_from(n_free)
                    .ok()
                    .filter(|&n| n < FREE_GLOBAL)
                    .ok_or(Exceeded("more than 32767 free variables in one function"))?,
                length: f.length.unwrap_or(f.n_params),
                guards: &guards,
            })
        })();
        let row = row.map_err(|exceeded| self.exceeded(mark, exceeded))?;
        let closed = self.output.functions.add(row);
        parent.children.push(closed.as_child(row.n_free));
        self.guards = guards;
        self.had_rest = f.has_rest;
        Ok(closed)
    }

    /// Closes one statement of the script.
    #[inline(never)]
    pub(crate) fn close_script_part<'a>(
        &mut self,
        f: &mut Function<'a>,
        arena: &'a Arena<'a>,
        mark: Mark,
    ) {
        if self.has_errors() {
            f.restore_names(&mut self.atoms);
            return;
        }
        f.close_scopes_to(&mut self.atoms, ScopeId(0));
        self.settle_names(f, None);
        let n_slots = f.lay_out_slots();
        self.settle_children(f, None);
        self.output.functions.settle_chains();
        let start = narrow::to_u32(self.output.script_code.len());
        let mut guards = core::mem::take(&mut self.guards);
        guards.clear();
        let (has_lines, notes_all) = (self.output.has_lines, self.output.notes_all());
        // A loop of nothing that throws is where a budget ends.
        if has_lines && (start == 0 || f.orders.len() > 0) {
            self.output.script_lines.add(start, mark.position());
        }
        let target = Target {
            encoding: self.output.encoding,
            chooser: self.output.chooser.as_deref_mut(),
            earlier: self.output.echoes.as_deref_mut().map(|it| &mut it.script),
            code: &mut self.output.script_code,
            notes_all,
            lines: has_lines.then_some(&mut self.output.script_lines),
            guards: &mut guards,
        };
        let swept = sweep(f, arena, &mut self.atoms, target);
        for &[from, to, handler] in &guards {
            self.output.script_guards.leb(start + from);
            self.output.script_guards.leb(to - from);
            self.output.script_guards.leb(start + handler);
        }
        self.output.n_script_guards += narrow::to_u32(guards.len());
        self.guards = guards;
        self.output.script_slots = self.output.script_slots.max(n_slots);
        self.output.script_depth = self.output.script_depth.max(f.max_depth);
        let checked = (|| {
            swept.map_err(|_| TOO_LARGE)?;
            limited_slots(n_slots)?;
            limited_depth(f.max_depth)
        })();
        if let Err(exceeded) = checked {
            self.exceeded(mark, exceeded);
        }
    }

    /// What the names still unknown are: the function's own name, its this
    /// value and arguments, globals, or free in it. Returns the record's flags.
    fn settle_names(&mut self, f: &mut Function<'_>, parent: Option<&mut Function<'_>>) -> u8 {
        let mut parent = parent;
        let mut flags = match f.kind {
            FunctionKind::Arrow => record::FLAG_ARROW,
            FunctionKind::Method | FunctionKind::Initializer => record::FLAG_METHOD,
            FunctionKind::Constructor => record::FLAG_CLASS,
            FunctionKind::Derived => record::FLAG_CLASS | record::FLAG_DERIVED,
            FunctionKind::Plain | FunctionKind::Script => 0,
        };
        if f.has_rest {
            flags |= record::FLAG_ARGUMENTS;
        }
        if f.uses_home {
            flags |= record::FLAG_LINKED;
        }
        let has_arguments = !matches!(f.kind, FunctionKind::Script | FunctionKind::Arrow);
        let first_free = parent.as_ref().map_or(0, |parent| parent.frees.len());
        f.restore_names(&mut self.atoms);
        let mut next = f.scopes.get(0).first;
        while let Some(index) = next.checked_sub(1) {
            let record = f.records.get(index);
            next = record.next;
            if record.state != State::Unknown {
                continue;
            }
            let var = VarId(index);
            let atom = record.atom;
            let is_captured = record.flags & CAPTURED != 0;
            if f.own_name == Some(atom) {
                f.settle(var, State::OwnName, if is_captured { None } else { Some(0) });
            } else if atom == Atom::THIS && f.kind == FunctionKind::Derived {
                // It is in its dead zone until `super` has returned.
                f.settle(var, State::Let, None);
            } else if f.kind != FunctionKind::Arrow
                && let Some(asked) = self.atoms.as_asked(atom)
            {
                let state = match asked {
                    Asked::Home => State::Home,
                    Asked::Target => State::Target,
                    Asked::Callee => State::Callee,
                };
                match (state, f.kind) {
                    (State::Home, FunctionKind::Method | FunctionKind::Initializer) => {
                        flags |= record::FLAG_LINKED;
                    }
                    (State::Target, FunctionKind::Plain | FunctionKind::Constructor) => {
                        flags |= record::FLAG_TARGET;
                    }
                    _ => {}
                }
                if state == State::Target {
                    f.target = Some(var);
                }
                f.settle(var, state, None);
            } else if atom == Atom::THIS && f.kind != FunctionKind::Arrow {
                f.settle(var, State::This, None);
            } else if atom == Atom::ARGUMENTS && has_arguments {
                flags |= record::FLAG_ARGUMENTS;
                f.settle(var, State::Arguments, None);
            } else if let Some(parent) = &mut parent
                && (!f.is_global_only || atom == Atom::THIS)
            {
                let outer = parent.use_name(&mut self.atoms, atom);
                parent.set_flag(outer, CAPTURED);
                let seems_const = record.flags & SEEMS_CONST != 0;
                let row = FreeRow::new(atom, outer, record.written, seems_const);
                let number = parent.frees.push(row) - first_free;
                f.settle(var, State::Free, Some(number));
            } else if atom == Atom::UNDEFINED
                && !is_captured
                && record.written == 0
                && !self.is_declared_global(atom)
            {
                // The global of that name costs no entry where it is only read.
                f.settle(var, State::Undefined, Some(0));
            } else {
                let global = self.output.global(&mut self.atoms, atom);
                f.settle(var, State::Global, Some(global));
            }
        }
        flags
    }

    /// Where the functions closed inside this one find their free variables. Those of
    /// the function itself are with its parent, from a row on; the script has none.
    fn settle_children(
        &mut self,
        f: &mut Function<'_>,
        mut around: Option<(&mut Function<'_>, u32)>,
    ) {
        let mut first = f.frees.len();
        for index in (0..f.children.len()).rev() {
            let child = f.children.get(index);
            first -= u32::from(child.n_free);
            let mut is_chained = false;
            for free in 0..child.n_free.into() {
                let row = f.frees.get(first + free);
                let found = f.resolve(Use { var: row.var, is_early: false });
                let is_const = matches!(found.record_state, State::Const | State::OwnName);
                let source = match (found.record_state, &mut around) {
                    (State::Global, _) => Source::Global(found.number),
                    (State::Free, Some((parent, first_free))) => {
                        is_chained = true;
                        parent.frees.update(*first_free + found.number, |it| it.note_write(row));
                        Source::Outer(found.number)
                    }
                    _ => Source::Slot(found.number),
                };
                self.output.functions.set_source(child, free, source);
                if let Some(offset) = row.written().checked_sub(1)
                    && !matches!(source, Source::Outer(_))
                    && row.seems_const() != is_const
                {
                    self.refuse_late_constant(row.atom, offset);
                }
            }
            if is_chained {
                self.output.functions.add_chain(child);
            }
        }
    }

    /// An inner function was compiled before the declaration that says whether
    /// the name it assigns is a constant, and the guess was wrong.
    fn refuse_late_constant(&mut self, atom: Atom, offset: u32) {
        let position = self.position_of(offset);
        let Position { line, column } = position;
        let mark = Mark { start: offset, end: offset, line, column };
        let message = alloc::format!(
            "assigning to `{}` in a function that stands before the declaration is unsupported: \
             whether it is a constant shows too late",
            self.atoms.show(atom)
        );
        self.report(
            DiagnosticKind::Unsupported,
            mark,
            Some("sec-let-and-const-declarations"),
            message.into(),
        );
    }

    pub(crate) fn exceeded(&mut self, mark: Mark, Exceeded(what): Exceeded) -> Fail {
        self.report(DiagnosticKind::Limit, mark, None, what.into())
    }
}
