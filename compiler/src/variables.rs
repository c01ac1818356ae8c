//! Names of the open function: how a use finds its declaration although that may stand
//! behind it. What is noted of a name and a scope is in `records`.
//!
//! A use makes a record in the innermost scope unless there is one; a
//! declaration in that scope, whenever it comes, turns the record into a
//! variable. When a scope closes, the records that stayed unknown go to the
//! scope around: they merge with its record of that name or move there. So at
//! the function's end every use has led to a variable or is free in the
//! function, and no name was looked up twice. An atom knows its innermost
//! record, which makes each step one array access.
//!
//! It refuses to choose instructions: `sweep` asks [`Function::resolve`].

use crate::atoms::{Atom, Atoms};
use crate::draft::{ScopeId, Use, VarId, Word};
use crate::function::{Function, FunctionKind};
use crate::records::{
    CAPTURED, CONST_BIT, Conflict, EARLY, Found, Hoisted, READY, Record, SAFE, SEEMS_CONST, Scope,
    State, VAR_PASSES,
};
use crate::token::Mark;

impl Function<'_> {
    /// Opens a scope; the caller appends [`Word::Enter`] where it is entered.
    pub(crate) fn open_scope(&mut self) -> ScopeId {
        let scope = Scope { parent: self.scope, depth: self.depth, ..Scope::default() };
        self.scope = ScopeId(self.scopes.push(scope));
        self.scope
    }

    /// Opens a scope and enters it.
    pub(crate) fn enter_scope(&mut self) -> ScopeId {
        let scope = self.open_scope();
        self.word(Word::Enter(scope));
        scope
    }

    /// The innermost scope is a switch: what stands before in the text may run
    /// after.
    pub(crate) fn set_unordered(&mut self) {
        self.scopes.update(self.scope.0, |scope| scope.is_unordered = true);
    }

    /// Closes the innermost scope: its unknown records go to the one around.
    pub(crate) fn close_scope(&mut self, atoms: &mut Atoms) {
        let closed = self.scope;
        let Scope { parent, first, .. } = self.scopes.get(closed.0);
        self.scope = parent;
        self.scopes.update(closed.0, |scope| {
            scope.first = 0;
            scope.last = 0;
        });
        let mut next = first;
        while let Some(index) = next.checked_sub(1) {
            let record = self.records.get(index);
            next = record.next;
            atoms.set_current(record.atom, record.shadowed);
            if record.state == State::Unknown {
                self.hand_up(atoms, VarId(index), record);
            } else {
                self.link_to_scope(VarId(index), closed);
            }
        }
    }

    /// Closes scopes until this one is the innermost.
    pub(crate) fn close_scopes_to(&mut self, atoms: &mut Atoms, scope: ScopeId) {
        while self.scope.0 > scope.0 {
            self.close_scope(atoms);
        }
    }

    /// Gives the names of the outermost scope back to the enclosing function.
    pub(crate) fn restore_names(&mut self, atoms: &mut Atoms) {
        self.close_scopes_to(atoms, ScopeId(0));
        let mut next = self.scopes.get(0).first;
        while let Some(index) = next.checked_sub(1) {
            let record = self.records.get(index);
            next = record.next;
            atoms.set_current(record.atom, record.shadowed);
        }
    }

    /// Gives the names of the outermost scope back that records from that number on
    /// have taken, for as long as another function goes on.
    pub(crate) fn give_names_back(&mut self, atoms: &mut Atoms, first: u32) {
        for index in first..self.records.len() {
            let record = self.records.get(index);
            if record.scope == ScopeId(0) && record.state == State::Unknown {
                atoms.set_current(record.atom, record.shadowed);
            }
        }
    }

    /// Takes the names again that were given back. Those taken more than once between
    /// become one.
    pub(crate) fn join_names(&mut self, atoms: &mut Atoms) {
        for index in 0..self.records.len() {
            let record = self.records.get(index);
            if record.scope != ScopeId(0) || record.state != State::Unknown {
                continue;
            }
            let Some(first) = self.record_here(atoms, record.atom) else {
                let current = atoms.current(record.atom);
                let bit = if record.flags & SEEMS_CONST != 0 { CONST_BIT } else { 0 };
                self.records.update(index, |record| record.shadowed = current);
                atoms.set_current(record.atom, self.number_of(VarId(index)) | bit);
                continue;
            };
            let shadowed = self.records.get(first.0).shadowed;
            self.records.update(first.0, |first| {
                first.flags |= record.flags & (CAPTURED | EARLY);
                if first.written == 0 {
                    first.written = record.written;
                }
            });
            self.records.update(index, |record| {
                record.state = State::Merged;
                record.link = first.0;
                record.shadowed = shadowed;
            });
        }
    }

    /// The record that a use of the name here belongs to.
    pub(crate) fn use_name(&mut self, atoms: &mut Atoms, atom: Atom) -> VarId {
        match self.record_here(atoms, atom) {
            Some(var) => var,
            None => self.add_record(atoms, atom, self.scope, State::Unknown),
        }
    }

    /// A use of the name here, for a load or store word.
    pub(crate) fn use_site(&mut self, atoms: &mut Atoms, atom: Atom) -> Use {
        let var = self.use_name(atoms, atom);
        let is_early = !self.is_ready(self.records.get(var.0));
        if is_early {
            self.set_flag(var, EARLY);
        }
        Use { var, is_early }
    }

    pub(crate) fn set_flag(&mut self, var: VarId, flag: u8) {
        self.records.update(var.0, |record| record.flags |= flag);
    }

    /// Notes the first assignment to a name.
    pub(crate) fn note_write(&mut self, var: VarId, mark: Mark) {
        self.records.update(var.0, |record| {
            if record.written == 0 {
                record.written = mark.start + 1;
            }
        });
    }

    /// Declares a name in the innermost scope: a parameter, a function, or what
    /// `let`, `const` or `catch` declares.
    pub(crate) fn declare(
        &mut self,
        atoms: &mut Atoms,
        atom: Atom,
        state: State,
    ) -> Result<VarId, Conflict> {
        if self.scope == self.var_scope
            && matches!(state, State::Let | State::Const)
            && self.outer_parameter(atoms, atom).is_some()
        {
            return Err(Conflict);
        }
        if let Some((block, parameters)) = self.caught
            && self.scope == block
            && self.is_declared_in(atoms, atom, parameters)
        {
            return Err(Conflict);
        }
        let Some(var) = self.record_here(atoms, atom) else {
            let var = self.add_record(atoms, atom, self.scope, State::Unknown);
            self.make_variable(atoms, var, state);
            return Ok(var);
        };
        let record = self.records.get(var.0);
        let in_function_scope = self.scope == self.var_scope;
        match record.state {
            State::Unknown if record.flags & VAR_PASSES == 0 => {
                self.make_variable(atoms, var, state);
                Ok(var)
            }
            State::Param | State::Var | State::Function
                if state == State::Function && in_function_scope =>
            {
                Ok(var)
            }
            _ => Err(Conflict),
        }
    }

    /// The parameter of that name which a body in a scope of its own has around it.
    pub(crate) fn outer_parameter(&self, atoms: &Atoms, atom: Atom) -> Option<VarId> {
        if self.scope == ScopeId(0) {
            return None;
        }
        let is_body = self.var_scope != ScopeId(0);
        let mut current = atoms.current(atom);
        while let Some(var) = self.own_record(current) {
            let record = self.records.get(var.0);
            let is_outer = !is_body || record.scope.0 < self.var_scope.0;
            if is_outer && matches!(record.state, State::Param | State::Let) {
                return Some(var);
            }
            current = record.shadowed;
        }
        None
    }

    /// Whether the scope, which is open, declares the name.
    fn is_declared_in(&self, atoms: &Atoms, atom: Atom, scope: ScopeId) -> bool {
        let mut current = atoms.current(atom);
        while let Some(var) = self.own_record(current) {
            let record = self.records.get(var.0);
            if record.scope == scope {
                return record.state != State::Unknown;
            }
            current = record.shadowed;
        }
        false
    }

    /// Declares what `var` declares: in the function's scope, whatever scopes
    /// stand between. In the script's own scope that is a global, which the
    /// caller declares.
    pub(crate) fn declare_var(&mut self, atoms: &mut Atoms, atom: Atom) -> Result<(), Conflict> {
        let mut current = atoms.current(atom);
        let mut inner = None;
        let mut is_found = false;
        while let Some(var) = self.own_record(current) {
            let record = self.records.get(var.0);
            if record.scope.0 < self.var_scope.0 {
                break;
            }
            if record.scope == self.var_scope {
                match record.state {
                    State::Unknown if self.kind == FunctionKind::Script => {}
                    State::Unknown => {
                        self.make_variable_at(atoms, var, State::Var, current);
                        self.copy_parameter(atoms, var, atom);
                    }
                    State::Param | State::Var | State::Function => {}
                    _ => return Err(Conflict),
                }
                is_found = true;
                break;
            }
            if record.state.is_lexical() {
                return Err(Conflict);
            }
            inner = Some(var);
            current = record.shadowed;
        }
        if !is_found && self.kind != FunctionKind::Script {
            let var = self.append_record(atom, self.var_scope, State::Unknown, current);
            let number = self.number_of(var);
            match inner {
                Some(inner) => self.records.update(inner.0, |record| record.shadowed = number),
                None => atoms.set_current(atom, number),
            }
            self.take_slot(var, State::Var);
            self.copy_parameter(atoms, var, atom);
        }
        if self.scope != self.var_scope {
            let here = self.use_name(atoms, atom);
            self.set_flag(here, VAR_PASSES);
        }
        Ok(())
    }

    /// The body's variable begins with what the parameter of that name has.
    fn copy_parameter(&mut self, atoms: &Atoms, var: VarId, atom: Atom) {
        if let Some(parameter) = self.outer_parameter(atoms, atom) {
            self.copies.push((var, parameter));
            self.max_depth = self.max_depth.max(1);
        }
    }

    /// A temporary in that scope.
    pub(crate) fn declare_hidden_in(&mut self, scope: ScopeId) -> VarId {
        let var = self.append_record(Atom::HIDDEN, scope, State::Hidden, 0);
        self.take_slot(var, State::Hidden);
        var
    }

    /// A temporary in the innermost scope.
    pub(crate) fn declare_hidden(&mut self) -> VarId {
        let var = self.plan_hidden();
        self.take_slot(var, State::Hidden);
        var
    }

    /// A temporary that may prove needless: it has no slot until it takes one.
    pub(crate) fn plan_hidden(&mut self) -> VarId {
        self.append_record(Atom::HIDDEN, self.scope, State::Hidden, 0)
    }

    /// The planned temporary is needed.
    pub(crate) fn take_hidden(&mut self, var: VarId) {
        self.take_slot(var, State::Hidden);
    }

    /// The variable is initialised from here on.
    pub(crate) fn set_ready(&mut self, var: VarId) {
        self.set_flag(var, READY);
    }

    /// Whether the name was used in its scope so far.
    pub(crate) fn is_touched(&self, var: VarId) -> bool {
        self.records.get(var.0).flags & (EARLY | CAPTURED) != 0
    }

    /// Adds a function to those made where the innermost scope is entered.
    pub(crate) fn hoist(&mut self, var: VarId, function: u32, mark: Mark) {
        let hoisted = Hoisted { var, function, line: mark.line, column: mark.column, next: 0 };
        let added = self.hoisted.push(hoisted) + 1;
        let scope = self.scopes.get(self.scope.0);
        match scope.last_hoisted.checked_sub(1) {
            Some(last) => self.hoisted.update(last, |hoisted| hoisted.next = added),
            None => self.scopes.update(self.scope.0, |scope| scope.first_hoisted = added),
        }
        self.scopes.update(self.scope.0, |scope| scope.last_hoisted = added);
        self.max_depth = self.max_depth.max(scope.depth + 1);
    }

    /// Gives a record of the function's scope what the close found it to be, and
    /// a slot if that needs one.
    pub(crate) fn settle(&mut self, var: VarId, state: State, number: Option<u32>) {
        match number {
            Some(number) => self.records.update(var.0, |record| {
                record.state = state;
                record.link = number;
            }),
            None => self.take_slot(var, state),
        }
    }

    /// Lays the slots out once all scopes are known: those of a block begin
    /// behind those of the scope around it, so that blocks side by side share.
    /// Returns how many the function needs.
    pub(crate) fn lay_out_slots(&mut self) -> u32 {
        let mut n_slots = 0;
        for index in 0..self.scopes.len() {
            let parent = self.scopes.get(self.scopes.get(index).parent.0);
            let first_slot = if index == 0 { 0 } else { parent.first_slot + parent.n_slots };
            self.scopes.update(index, |scope| scope.first_slot = first_slot);
            n_slots = n_slots.max(first_slot + self.scopes.get(index).n_slots);
        }
        n_slots
    }

    /// Where a use leads, once the function's names are settled.
    pub(crate) fn resolve(&self, site: Use) -> Found {
        let mut var = site.var;
        let mut needs_check = site.is_early;
        let mut record = self.records.get(var.0);
        while record.state == State::Merged {
            needs_check &= record.flags & SAFE == 0;
            var = VarId(record.link);
            record = self.records.get(var.0);
        }
        let number = match record.state {
            State::Free | State::Global => record.link,
            _ => self.scopes.get(record.scope.0).first_slot + record.link,
        };
        Found {
            var,
            record_state: record.state,
            is_captured: record.flags & CAPTURED != 0,
            needs_check: needs_check && matches!(record.state, State::Let | State::Const),
            number,
        }
    }

    /// An unknown record of a closed scope merges with the record of the scope
    /// around, which is the innermost now, or moves there.
    fn hand_up(&mut self, atoms: &mut Atoms, var: VarId, record: Record) {
        let Some(outer) = self.record_here(atoms, record.atom) else {
            let seems_const = if record.flags & SEEMS_CONST != 0 { CONST_BIT } else { 0 };
            self.link_to_scope(var, self.scope);
            atoms.set_current(record.atom, self.number_of(var) | seems_const);
            return;
        };
        let is_safe = self.is_ready(self.records.get(outer.0));
        let handed = record.flags & (CAPTURED | VAR_PASSES | if is_safe { 0 } else { EARLY });
        self.records.update(outer.0, |outer| {
            outer.flags |= handed;
            if outer.written == 0 {
                outer.written = record.written;
            }
        });
        self.records.update(var.0, |record| {
            record.state = State::Merged;
            record.link = outer.0;
            record.flags |= if is_safe { SAFE } else { 0 };
        });
    }

    /// Whether what follows in the text runs after the variable is initialised.
    fn is_ready(&self, record: Record) -> bool {
        match record.state {
            State::Unknown => false,
            State::Let | State::Const => {
                record.flags & READY != 0 && !self.scopes.get(record.scope.0).is_unordered
            }
            _ => true,
        }
    }

    /// The record of the name in the innermost scope.
    fn record_here(&self, atoms: &Atoms, atom: Atom) -> Option<VarId> {
        self.own_record(atoms.current(atom))
            .filter(|var| self.records.get(var.0).scope == self.scope)
    }

    /// The record an atom's current number stands for, if it is of this function.
    fn own_record(&self, current: u32) -> Option<VarId> {
        (current & !CONST_BIT).checked_sub(self.base + 1).map(VarId)
    }

    fn number_of(&self, var: VarId) -> u32 {
        self.base + var.0 + 1
    }

    fn add_record(&mut self, atoms: &mut Atoms, atom: Atom, scope: ScopeId, state: State) -> VarId {
        let shadowed = atoms.current(atom);
        let var = self.append_record(atom, scope, state, shadowed);
        if shadowed & CONST_BIT != 0 {
            self.set_flag(var, SEEMS_CONST);
        }
        atoms.set_current(atom, self.number_of(var) | shadowed & CONST_BIT);
        var
    }

    fn append_record(&mut self, atom: Atom, scope: ScopeId, state: State, shadowed: u32) -> VarId {
        let record = Record { atom, state, scope, shadowed, ..Record::default() };
        let var = VarId(self.records.push(record));
        self.link_to_scope(var, scope);
        var
    }

    fn link_to_scope(&mut self, var: VarId, scope: ScopeId) {
        self.records.update(var.0, |record| {
            record.scope = scope;
            record.next = 0;
        });
        let last = self.scopes.get(scope.0).last;
        match last.checked_sub(1) {
            Some(last) => self.records.update(last, |record| record.next = var.0 + 1),
            None => self.scopes.update(scope.0, |scope| scope.first = var.0 + 1),
        }
        self.scopes.update(scope.0, |scope| scope.last = var.0 + 1);
    }

    fn make_variable(&mut self, atoms: &mut Atoms, var: VarId, state: State) {
        let current = atoms.current(self.records.get(var.0).atom);
        self.make_variable_at(atoms, var, state, current);
    }

    /// Turns an unknown record into a variable. The atom's mark of a constant
    /// follows if the record is the atom's innermost.
    fn make_variable_at(&mut self, atoms: &mut Atoms, var: VarId, state: State, current: u32) {
        let atom = self.records.get(var.0).atom;
        if atoms.current(atom) == current {
            let bit = if state == State::Const { CONST_BIT } else { 0 };
            atoms.set_current(atom, self.number_of(var) | bit);
        }
        self.records.update(var.0, |record| record.flags &= !SEEMS_CONST);
        self.take_slot(var, state);
    }

    fn take_slot(&mut self, var: VarId, state: State) {
        let scope = self.records.get(var.0).scope;
        let link = self.scopes.get(scope.0).n_slots;
        self.scopes.update(scope.0, |scope| scope.n_slots += 1);
        self.records.update(var.0, |record| {
            record.state = state;
            record.link = link;
        });
    }

    /// The own name of a function expression seems a constant to the functions
    /// inside, until a declaration in the function says otherwise.
    pub(crate) fn mark_own_name(&mut self, atoms: &mut Atoms, atom: Atom) {
        let var = self.use_name(atoms, atom);
        self.set_flag(var, SEEMS_CONST);
        atoms.set_current(atom, self.number_of(var) | CONST_BIT);
    }
}
