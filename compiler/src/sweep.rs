//! The sweep: the draft of a closing function becomes instructions.
//!
//! The draft is walked twice in emission order. The first walk measures: it
//! finds how long everything but the branches is, and which labels are led to.
//! Then the branches take the shortest form that reaches. The second walk,
//! making the same decisions, writes bytes, line entries and guards. Walking
//! twice costs no second copy of the function.
//!
//! This module owns the walk, the variables and the peephole; `branches` owns
//! lengths and threading. It refuses to see names' declarations: they are
//! settled when it begins.

use alloc::vec::Vec;

use scruple_bytecode::Encoding;
use scruple_bytecode::image::Position;
use scruple_bytecode::ops::{Flow, Op};

use crate::arena::{Arena, Chunks};
use crate::atoms::Atoms;
use crate::branches::Branch;
use crate::chooser::Chooser;
use crate::draft::{GuardId, LabelId, OrderId, ScopeId, Use, VarId, Word};
use crate::echoes::Earlier;
use crate::function::{Function, FunctionKind};
use crate::lines::LineTable;
use crate::narrow;
use crate::records::{CAPTURED, EARLY, Found, State};
use crate::strip::Strip;

/// Where the swept code goes.
pub(crate) struct Target<'o, 's> {
    pub(crate) encoding: Encoding,
    /// What chooses composites, if the encoding has any.
    pub(crate) chooser: Option<&'o mut Chooser<'s>>,
    /// The code before that may be carried out again, under the encoding that has that.
    pub(crate) earlier: Option<&'o mut Earlier>,
    pub(crate) code: &'o mut Strip,
    /// The line table, unless it is not wanted.
    pub(crate) lines: Option<&'o mut LineTable>,
    /// Whether that is to have the places of what cannot fail, too.
    pub(crate) notes_all: bool,
    /// Guards as start, end and handler, counted from the start of the code
    /// that this sweep writes.
    pub(crate) guards: &'o mut Vec<[u32; 3]>,
}

/// Some operand or distance does not fit an instruction.
#[derive(Debug)]
pub(crate) struct TooLarge;

/// An operation held back, because the next one may change it.
#[derive(Clone, Copy)]
enum Held {
    Nothing,
    Op(Op, i32, Position),
    /// That many `not`s.
    Nots(u32, Position),
}

/// One walk over a draft.
pub(crate) struct Sweep<'f, 'a, 'o, 's> {
    pub(crate) function: &'f mut Function<'a>,
    atoms: &'f mut Atoms,
    pub(crate) target: Target<'o, 's>,
    pub(crate) is_measuring: bool,
    pub(crate) is_too_large: bool,
    pub(crate) branches: Chunks<'a, Branch, 8>,
    /// Where this sweep's code begins.
    pub(crate) start: u32,
    /// What the walk that measures chose, under `echo`; and how many of those the other
    /// walk has come to.
    pub(crate) choices: Chunks<'a, (u8, u8), 32>,
    pub(crate) n_followed: u32,
    /// Bytes of the instructions so far but for branches, and the number of those.
    pub(crate) bytes: u32,
    pub(crate) n_branches: u32,
    /// The draft index of the next word.
    pub(crate) place: u32,
    /// Open orders: the next segment plus one, or 0; and where it goes on.
    pub(crate) open: Chunks<'a, (u32, u32), 8>,
    is_live: bool,
    held: Held,
    position: Position,
    needs_depth: u32,
}

const NOWHERE: Position = Position { line: 0, column: 0 };

/// Sweeps the function's draft to the target. The function's greatest depth
/// grows where an expansion needs it.
pub(crate) fn sweep<'a>(
    function: &mut Function<'a>,
    arena: &'a Arena<'a>,
    atoms: &mut Atoms,
    target: Target<'_, '_>,
) -> Result<(), TooLarge> {
    let start = narrow::to_u32(target.code.len());
    let mut sweep = Sweep {
        function,
        atoms,
        target,
        is_measuring: true,
        is_too_large: false,
        branches: Chunks::new(arena),
        start,
        choices: Chunks::new(arena),
        n_followed: 0,
        bytes: 0,
        n_branches: 0,
        place: 0,
        open: Chunks::new(arena),
        is_live: true,
        held: Held::Nothing,
        position: NOWHERE,
        needs_depth: 0,
    };
    sweep.walk();
    if let Target { earlier: Some(earlier), chooser: Some(chooser), code, .. } = &mut sweep.target {
        earlier.forget(chooser.set(), code.as_whole(), start as usize);
        code.truncate(start as usize);
    }
    if !sweep.is_too_large {
        sweep.relax();
    }
    if !sweep.is_too_large {
        sweep.is_measuring = false;
        sweep.walk();
    }
    if sweep.is_too_large {
        return Err(TooLarge);
    }
    let needed = sweep.needs_depth;
    function.max_depth += needed;
    Ok(())
}

impl Sweep<'_, '_, '_, '_> {
    fn walk(&mut self) {
        self.bytes = 0;
        self.n_branches = 0;
        self.place = 0;
        self.open.truncate(0);
        self.is_live = true;
        self.held = Held::Nothing;
        self.position = NOWHERE;
        if let Some(chooser) = &mut self.target.chooser {
            chooser.forget();
        }
        loop {
            let word = Word::unpack(self.function.draft.get(self.place));
            self.place += 1;
            match word {
                Word::End => {
                    if !self.next_segment() {
                        break;
                    }
                }
                Word::Order(order) => self.begin_order(order),
                Word::Label(label) => self.bind(label),
                Word::Line(line) => self.position.line = line,
                Word::Column(column) => self.position.column = column,
                Word::GuardStart(guard) => self.start_guard(guard),
                Word::GuardEnd(guard) => self.end_guard(guard),
                _ if !self.is_live => {}
                Word::Enter(scope) => self.enter_scope(scope),
                Word::Renew(scope) => self.renew_scope(scope),
                Word::Load(site) => self.load(site, false),
                Word::LoadSoft(site) => self.load(site, true),
                Word::Store(site) => self.store(site, false),
                Word::Keep(site) => self.store(site, true),
                Word::Init(var) => self.initialise(var),
                Word::Bind(site) => self.bind_once(site),
                Word::Nothing => {}
                Word::Op(op, operand) => self.op(op, operand),
            }
        }
        self.settle();
    }

    fn begin_order(&mut self, order: OrderId) {
        let order = self.function.orders.get(order.0);
        let Some(first) = order.first.checked_sub(1) else {
            self.place = order.resume;
            return;
        };
        let segment = self.function.segments.get(first);
        self.open.push((segment.next, order.resume));
        self.place = segment.start;
    }

    /// Goes to the next segment, or behind the order: whether there was one.
    fn next_segment(&mut self) -> bool {
        let Some((next, resume)) = self.open.pop() else { return false };
        match next.checked_sub(1) {
            Some(next) => {
                let segment = self.function.segments.get(next);
                self.open.push((segment.next, resume));
                self.place = segment.start;
            }
            None => self.place = resume,
        }
        true
    }

    fn bind(&mut self, id: LabelId) {
        let label = self.function.labels.get(id.0);
        let is_led_to = label.n_refs > 0 || label.is_backward;
        if is_led_to {
            self.settle();
            self.is_live = true;
        }
        if self.is_measuring {
            // A held operation comes behind a label nothing leads to.
            let (bytes, n_branches) = (self.bytes, self.n_branches);
            self.function.labels.update(id.0, |label| {
                label.bytes = bytes;
                label.n_branches = n_branches;
            });
        }
    }

    fn start_guard(&mut self, guard: GuardId) {
        self.settle();
        let start = self.here();
        self.function.guards.update(guard.0, |guard| guard.start = start);
    }

    fn end_guard(&mut self, guard: GuardId) {
        self.settle();
        let here = self.here();
        let guard = self.function.guards.get(guard.0);
        if guard.start == here {
            return;
        }
        if self.is_measuring {
            self.function.labels.update(guard.handler.0, |label| label.n_refs += 1);
        } else {
            let start = self.address(guard.start.0, guard.start.1);
            let end = self.address(here.0, here.1);
            let handler = self.function.labels.get(guard.handler.0);
            let handler = self.address(handler.bytes, handler.n_branches);
            self.target.guards.push([start, end, handler]);
        }
    }

    fn here(&self) -> (u32, u32) {
        (self.bytes, self.n_branches)
    }

    /// Boxes, marks of the dead zone, then the hoisted functions, which may
    /// capture each other.
    fn enter_scope(&mut self, scope: ScopeId) {
        let is_body = scope != ScopeId(0);
        if !is_body && let Some(target) = self.function.target {
            self.begin_target(target);
        }
        let scope = self.function.scopes.get(scope.0);
        let mut next = scope.first;
        while let Some(index) = next.checked_sub(1) {
            let record = self.function.records.get(index);
            next = record.next;
            let found = self.function.resolve(Use { var: VarId(index), is_early: false });
            let slot = narrow::to_operand(found.number);
            if is_body && record.state == State::Var {
                self.begin_body_variable(VarId(index), slot);
            }
            let fill = match record.state {
                State::This => Some(Op::LoadThis),
                State::Arguments => Some(Op::LoadArguments),
                State::OwnName if found.is_captured => Some(Op::LoadCallee),
                State::Callee => Some(Op::LoadCallee),
                State::Home if self.function.is_constructor_of_class() => {
                    self.function.max_depth = self.function.max_depth.max(1);
                    self.op(Op::LoadCallee, 0);
                    let name = self.atoms.intern("prototype");
                    let name = self.atoms.constant(name);
                    self.op(Op::ReadField, narrow::to_operand(name));
                    self.op(Op::StoreSlot, slot);
                    None
                }
                State::Home => Some(Op::LoadHome),
                _ => None,
            };
            if let Some(op) = fill {
                self.function.max_depth = self.function.max_depth.max(1);
                self.op(op, 0);
                self.op(Op::StoreSlot, slot);
            }
            match record.state {
                State::Param
                | State::Var
                | State::This
                | State::Arguments
                | State::Home
                | State::Target
                | State::Callee
                | State::OwnName
                    if found.is_captured =>
                {
                    self.op(Op::BoxSlot, slot);
                }
                State::Let | State::Const | State::Function | State::Catch | State::Hidden
                    if found.is_captured =>
                {
                    self.op(Op::MakeBox, slot);
                }
                State::Let | State::Const if record.flags & EARLY != 0 => {
                    self.op(Op::ClearSlot, slot);
                }
                _ => {}
            }
        }
        let mut next = scope.first_hoisted;
        while let Some(index) = next.checked_sub(1) {
            let hoisted = self.function.hoisted.get(index);
            next = hoisted.next;
            self.position = Position { line: hoisted.line, column: hoisted.column };
            self.op(Op::MakeClosure, narrow::to_operand(hoisted.function));
            self.initialise(hoisted.var);
        }
    }

    /// A variable of a body apart from its parameters: its slot may have been
    /// another's, and it may begin with the value of a parameter.
    fn begin_body_variable(&mut self, var: VarId, slot: i32) {
        self.function.max_depth = self.function.max_depth.max(1);
        let copies = &self.function.copies;
        let parameter = (0..copies.len()).map(|at| copies.get(at)).find(|&(copy, _)| copy == var);
        match parameter {
            Some((_, parameter)) => self.load(Use { var: parameter, is_early: false }, false),
            None => self.op(Op::PushUndefined, 0),
        }
        self.op(Op::StoreSlot, slot);
    }

    /// What `new` was applied to comes before all else: that makes the this value.
    fn begin_target(&mut self, target: VarId) {
        let found = self.function.resolve(Use { var: target, is_early: false });
        let op = match self.function.kind {
            FunctionKind::Method | FunctionKind::Initializer => Op::PushUndefined,
            FunctionKind::Derived => Op::LoadThis,
            _ => Op::EnterTarget,
        };
        self.function.max_depth = self.function.max_depth.max(1);
        self.op(op, 0);
        self.op(Op::StoreSlot, narrow::to_operand(found.number));
    }

    fn renew_scope(&mut self, scope: ScopeId) {
        let mut next = self.function.scopes.get(scope.0).first;
        while let Some(index) = next.checked_sub(1) {
            let record = self.function.records.get(index);
            next = record.next;
            if record.flags & CAPTURED != 0 && record.state == State::Let {
                let found = self.function.resolve(Use { var: VarId(index), is_early: false });
                self.op(Op::RenewBox, narrow::to_operand(found.number));
            }
        }
    }

    /// ( -- value )
    fn load(&mut self, site: Use, is_soft: bool) {
        let found = self.function.resolve(site);
        let op = match found.record_state {
            State::Free if is_soft => Op::LoadFreeSoft,
            State::Free => Op::LoadFree,
            State::Global if is_soft => Op::LoadGlobalSoft,
            State::Global => Op::LoadGlobal,
            State::OwnName if !found.is_captured => return self.op(Op::LoadCallee, 0),
            State::Undefined => return self.op(Op::PushUndefined, 0),
            _ => plain_load(found),
        };
        self.op(op, narrow::to_operand(found.number));
    }

    /// ( value -- ) or, where the value is kept, ( value -- value )
    fn store(&mut self, site: Use, keeps: bool) {
        let found = self.function.resolve(site);
        let record = self.function.records.get(found.var.0);
        let fails = match found.record_state {
            State::Const | State::OwnName => true,
            State::Free => record.flags & crate::records::SEEMS_CONST != 0,
            _ => false,
        };
        let number = narrow::to_operand(found.number);
        if fails {
            if found.needs_check {
                // Uninitialised comes before constant.
                self.needs_depth = 1;
                self.op(plain_load(found), number);
                // A load that is there for its check must not vanish with its value.
                self.flush();
                self.op(Op::Drop, 0);
            }
            let name = self.atoms.constant(record.atom);
            self.op(Op::FailConst, narrow::to_operand(name));
            if !keeps {
                self.op(Op::Drop, 0);
            }
            return;
        }
        let op = match (found.record_state, keeps) {
            (State::Free, false) => Op::StoreFree,
            (State::Free, true) => Op::KeepFree,
            (State::Global, false) => Op::StoreGlobal,
            (State::Global, true) => Op::KeepGlobal,
            (_, false) if found.is_captured => Op::StoreBox,
            (_, true) if found.is_captured => Op::KeepBox,
            (_, false) if found.needs_check => Op::StoreSlotChecked,
            (_, true) if found.needs_check => Op::KeepSlotChecked,
            (_, false) => Op::StoreSlot,
            (_, true) => Op::KeepSlot,
        };
        self.op(op, number);
    }

    /// ( value -- )
    fn initialise(&mut self, var: VarId) {
        let found = self.function.resolve(Use { var, is_early: false });
        let op = match found.record_state {
            State::Global => Op::InitGlobal,
            _ if found.is_captured => Op::InitBox,
            _ => Op::StoreSlot,
        };
        self.op(op, narrow::to_operand(found.number));
    }

    /// ( value -- value ), of a variable that gets its value once, wherever that is.
    fn bind_once(&mut self, site: Use) {
        let found = self.function.resolve(site);
        let op = match found.record_state {
            State::Free => Op::BindFree,
            _ if found.is_captured => Op::BindBox,
            _ => Op::BindSlot,
        };
        self.op(op, narrow::to_operand(found.number));
    }

    /// One operation, seen together with the one before.
    pub(crate) fn op(&mut self, op: Op, operand: i32) {
        let here = self.position;
        match (op, self.held) {
            (Op::Not, Held::Nots(n, position)) => {
                // Three negations are one; two still make a boolean.
                self.held = Held::Nots(if n == 2 { 1 } else { n + 1 }, position);
            }
            (Op::Not, _) => {
                self.flush();
                self.held = Held::Nots(1, here);
            }
            (Op::Drop, Held::Op(held, ..)) if is_pure_push(held) => self.held = Held::Nothing,
            (Op::Drop, Held::Op(held, operand, position)) if without_keeping(held).is_some() => {
                self.held = Held::Nothing;
                if let Some(store) = without_keeping(held) {
                    self.put(store, operand, position);
                }
            }
            // Both convert to a number and take one from it.
            (Op::Subtract, Held::Op(Op::PushInt, 1, _)) => {
                self.held = Held::Nothing;
                self.put(Op::Decrement, 0, here);
            }
            (Op::Return, Held::Op(Op::PushUndefined, ..)) => {
                self.held = Held::Nothing;
                self.op(Op::ReturnUndefined, 0);
            }
            _ if op.is_branch() => self.branch(op, LabelId(operand.cast_unsigned())),
            _ => {
                self.flush();
                if is_pure_push(op) || without_keeping(op).is_some() {
                    self.held = Held::Op(op, operand, here);
                } else {
                    self.put(op, operand, here);
                }
                if op.info().flow == Flow::Stop {
                    self.is_live = false;
                }
            }
        }
    }

    /// A branch, its condition seen together with what made it.
    fn branch(&mut self, op: Op, label: LabelId) {
        let (mut op, label) = self.thread(op, label);
        let holds = match self.held {
            Held::Op(Op::PushTrue, ..) => Some(true),
            Held::Op(Op::PushFalse, ..) => Some(false),
            _ => None,
        };
        match (op, self.held, holds) {
            (Op::BranchTrue | Op::BranchFalse, Held::Nots(n, _), _) => {
                self.held = Held::Nothing;
                if n % 2 == 1 {
                    op = contrary(op).unwrap_or(op);
                }
            }
            (Op::BranchTrue | Op::BranchFalse, _, Some(value)) => {
                self.held = Held::Nothing;
                if value != (op == Op::BranchTrue) {
                    return;
                }
                op = Op::Branch;
            }
            // Threading may have led to a return.
            (Op::Return | Op::ReturnUndefined, ..) => return self.op(op, 0),
            _ => {}
        }
        self.flush();
        // A branch over an unconditional one is that one with the contrary
        // condition.
        if let Some(inverse) = contrary(op)
            && let Some((other, behind)) = self.jump_before(label)
        {
            self.place = behind;
            let (_, other) = self.thread(inverse, other);
            return self.put_branch(inverse, other, self.position);
        }
        if op == Op::Branch {
            if self.is_next(label) {
                return;
            }
            self.is_live = false;
        }
        self.put_branch(op, label, self.position);
    }

    /// What is held back goes out, and so does what waits to be joined: an instruction
    /// may begin here.
    fn settle(&mut self) {
        self.flush();
        self.lay_down_waiting(true);
    }

    /// What is held back goes out.
    fn flush(&mut self) {
        match core::mem::replace(&mut self.held, Held::Nothing) {
            Held::Nothing => {}
            Held::Op(op, operand, position) => self.put(op, operand, position),
            Held::Nots(n, position) => {
                for _ in 0..n {
                    self.put(Op::Not, 0, position);
                }
            }
        }
    }
}

fn plain_load(found: Found) -> Op {
    match (found.is_captured, found.needs_check) {
        (true, _) => Op::LoadBox,
        (false, true) => Op::LoadSlotChecked,
        (false, false) => Op::LoadSlot,
    }
}

/// The conditional branch of the contrary condition.
fn contrary(op: Op) -> Option<Op> {
    match op {
        Op::BranchTrue => Some(Op::BranchFalse),
        Op::BranchFalse => Some(Op::BranchTrue),
        _ => None,
    }
}

/// Operations that push and do nothing else.
fn is_pure_push(op: Op) -> bool {
    matches!(
        op,
        Op::PushUndefined
            | Op::PushNull
            | Op::PushTrue
            | Op::PushFalse
            | Op::PushInt
            | Op::PushConst
            | Op::LoadSlot
            | Op::LoadThis
            | Op::LoadCallee
    )
}

/// The twin of a keeping operation that does not keep.
fn without_keeping(op: Op) -> Option<Op> {
    Some(match op {
        Op::KeepSlot => Op::StoreSlot,
        Op::KeepSlotChecked => Op::StoreSlotChecked,
        Op::KeepBox => Op::StoreBox,
        Op::KeepFree => Op::StoreFree,
        Op::KeepGlobal => Op::StoreGlobal,
        Op::KeepField => Op::WriteField,
        Op::KeepAt => Op::WriteAt,
        _ => return None,
    })
}
