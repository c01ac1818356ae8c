//! Branches of the sweep: where they lead in the end, how long they are, and
//! the instructions' way into the code.
//!
//! Lengths begin with the shortest form and only grow: a longer branch makes
//! every distance across it longer and none shorter, so the first state in
//! which all fit is the smallest one, and each branch has the one form that its
//! distance asks for, as the verifier demands.
//!
//! It refuses to decide what is emitted; that is `sweep`.

use scruple_bytecode::encoding::Digits;
use scruple_bytecode::encoding::echo::{ECHO, Reference};
use scruple_bytecode::image::Position;
use scruple_bytecode::ops::{Flow, Op};
use scruple_bytecode::sets::FIRST_ENTRY;

use crate::chooser::{Chooser, Waiting};
use crate::draft::{LabelId, Word};
use crate::echoes::Echo;
use crate::narrow;
use crate::strip::Sink;
use crate::sweep::Sweep;

/// A branch in emission order; or an echo, which is `trap` here: how far back it refers
/// changes its length as a distance does.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Branch {
    op: Op,
    /// Whether it is the last of a composite: its length is then that of the distance.
    is_part: bool,
    /// Its own length.
    length: u8,
    /// Of an echo, how many instructions.
    count: u8,
    label: LabelId,
    /// Bytes before it without branches.
    bytes: u32,
    /// Its own length, with that of all branches before it.
    total: u32,
    /// Of an echo, where the first instruction begins, as a label's place is told: bytes
    /// without branches, below zero in code from before this sweep. How many branches
    /// there are before it stands in the place of the label.
    source: u32,
}

impl Default for Branch {
    fn default() -> Self {
        Branch {
            op: Op::Branch,
            is_part: false,
            length: 0,
            count: 0,
            label: LabelId(0),
            bytes: 0,
            total: 0,
            source: 0,
        }
    }
}

impl Sweep<'_, '_, '_, '_> {
    /// An operation that is no branch. Where there are composites, it may become part
    /// of one.
    pub(crate) fn put(&mut self, op: Op, operand: i32, position: Position) {
        let Some(chooser) = &mut self.target.chooser else {
            return self.lay_down(op, operand, position);
        };
        let is_full = chooser.wait(Waiting { op, operand, position });
        if is_full || op.info().flow != Flow::Next {
            self.lay_down_waiting(op.info().flow != Flow::Next);
        }
    }

    /// A branch to a label of the function.
    pub(crate) fn put_branch(&mut self, op: Op, label: LabelId, position: Position) {
        let Some(chooser) = &mut self.target.chooser else {
            return self.lay_down_branch(op, label, position, false);
        };
        chooser.wait(Waiting { op, operand: label.0.cast_signed(), position });
        self.lay_down_waiting(true);
    }

    /// What waits goes out: all of it where the run of operations ends here.
    pub(crate) fn lay_down_waiting(&mut self, run_ends: bool) {
        // The window is taken out of the sweep for as long as that is done.
        let Some(chooser) = self.target.chooser.take() else { return };
        let n = self.split(chooser, run_ends);
        let mut at = 0;
        while at < n {
            if self.target.earlier.is_some() {
                self.note_choice(chooser.choice(at));
                if chooser.is_echo(at) {
                    let (parts, _) = chooser.instruction(at);
                    let position = position_of(parts, self.notes_all());
                    self.lay_down_echo(at, position);
                    at += parts.len();
                    continue;
                }
            }
            let (parts, entry) = chooser.instruction(at);
            at += parts.len();
            match (parts, entry) {
                (parts, Some((index, entry))) => {
                    let position = position_of(parts, self.notes_all());
                    let branch = parts.last().filter(|last| last.op.is_branch());
                    let n_plain = parts.len() - usize::from(branch.is_some());
                    self.note_position(position);
                    self.append(&[FIRST_ENTRY + index]);
                    for (part, waiting) in entry.parts().zip(&parts[..n_plain]) {
                        if part.operand.is_some() {
                            continue;
                        }
                        match Digits::of(waiting.op, waiting.operand) {
                            Some(digits) => self.append(digits.as_slice()),
                            None => self.is_too_large = true,
                        }
                    }
                    if let Some(&Waiting { op, operand, position }) = branch {
                        self.lay_down_branch(op, label_of(operand), position, true);
                    }
                }
                (&[Waiting { op, operand, position }], None) if op.is_branch() => {
                    self.lay_down_branch(op, label_of(operand), position, false);
                }
                (parts, None) => {
                    for &Waiting { op, operand, position } in parts {
                        self.lay_down(op, operand, position);
                    }
                }
            }
        }
        chooser.let_go(n);
        self.target.chooser = Some(chooser);
    }

    /// An instruction that is no branch.
    fn lay_down(&mut self, op: Op, operand: i32, position: Position) {
        let Some(encoded) = self.target.encoding.encode(op, operand) else {
            self.is_too_large = true;
            return;
        };
        if self.notes_all() || !is_silent(op) {
            self.note_position(position);
        }
        self.append(encoded.as_slice());
    }

    fn append(&mut self, bytes: &[u8]) {
        self.bytes = self.bytes.saturating_add(narrow::to_u32(bytes.len()));
        self.write(bytes);
    }

    /// Writes bytes, while measuring only for later instructions to refer to.
    fn write(&mut self, bytes: &[u8]) {
        if !self.is_measuring || self.target.earlier.is_some() {
            self.target.code.put(bytes);
        }
    }

    /// Splits what waits: by a choice while measuring, and the same way again.
    fn split(&mut self, chooser: &mut Chooser<'_>, run_ends: bool) -> usize {
        match &mut self.target.earlier {
            None => chooser.split(run_ends, None),
            Some(earlier) if self.is_measuring => {
                earlier.catch_up(chooser.set(), self.target.code.as_whole());
                chooser.split(run_ends, Some((earlier, self.target.code.as_whole())))
            }
            Some(_) => {
                let (choices, at) = (&self.choices, &mut self.n_followed);
                chooser.follow(run_ends, || {
                    *at += 1;
                    choices.get(*at - 1)
                })
            }
        }
    }

    /// Keeps a choice for the walk that writes.
    fn note_choice(&mut self, choice: (u8, u8)) {
        if self.is_measuring {
            self.choices.push(choice);
        }
    }

    /// An echo of what was found for a place of the window.
    fn lay_down_echo(&mut self, at: usize, position: Position) {
        let index = self.n_branches;
        self.n_branches += 1;
        self.note_position(position);
        if !self.is_measuring {
            let branch = self.branches.get(index);
            match self.reference(branch).encode() {
                Some(bytes) => self.write(bytes.as_slice()),
                None => self.is_too_large = true,
            }
            return;
        }
        let Some(earlier) = &self.target.earlier else { return };
        let Echo { place, count } = earlier.noted(at);
        let place = place.wrapping_sub(self.start);
        let n_before = if place.cast_signed() < 0 { 0 } else { self.branches_before(place) };
        let source = place.wrapping_sub(self.address(0, n_before));
        let label = LabelId(n_before);
        let bytes = self.bytes;
        let branch =
            Branch { op: Op::Trap, length: 2, count, label, bytes, source, ..Branch::default() };
        self.push_branch(branch);
    }

    /// How many branches end before a place of the code while it is measured.
    fn branches_before(&self, place: u32) -> u32 {
        let (mut low, mut high) = (0, self.branches.len());
        while low < high {
            let middle = low.midpoint(high);
            let branch = self.branches.get(middle);
            if branch.bytes + branch.total <= place { low = middle + 1 } else { high = middle }
        }
        low
    }

    fn push_branch(&mut self, branch: Branch) {
        let total = self.address(0, self.branches.len()) + u32::from(branch.length);
        self.branches.push(Branch { total, ..branch });
        // A distance of nothing, for now.
        if self.target.earlier.is_none() {
            return;
        }
        if branch.op == Op::Trap {
            self.write(&[ECHO, 0]);
        } else if branch.is_part {
            self.write(&[0]);
        } else if let Some(encoded) = self.target.encoding.encode(branch.op, 0) {
            self.write(encoded.as_slice());
        }
    }

    /// A branch, of which the instruction's first bytes are out if it is part of a
    /// composite.
    fn lay_down_branch(&mut self, op: Op, label: LabelId, position: Position, is_part: bool) {
        let index = self.n_branches;
        self.n_branches += 1;
        if self.is_measuring {
            let bytes = self.bytes;
            let mut branch = Branch { op, is_part, label, bytes, ..Branch::default() };
            branch.length = self.length_of(branch, 0).unwrap_or(1);
            self.push_branch(branch);
            self.function.labels.update(label.0, |label| label.n_refs += 1);
            return;
        }
        let branch = self.branches.get(index);
        let distance = self.distance(branch);
        if !is_part && (self.notes_all() || !is_silent(op)) {
            self.note_position(position);
        }
        let length = narrow::to_u32(self.target.code.len());
        let bytes = &mut *self.target.code;
        if is_part && let Some(digits) = Digits::of(op, distance) {
            bytes.put(digits.as_slice());
        } else if !is_part && let Some(encoded) = self.target.encoding.encode(op, distance) {
            bytes.put(encoded.as_slice());
        } else {
            self.is_too_large = true;
            return;
        }
        debug_assert_eq!(narrow::to_u32(bytes.len()) - length, u32::from(branch.length));
    }

    /// Gives every branch the length its distance needs.
    pub(crate) fn relax(&mut self) {
        loop {
            let mut total = 0;
            for index in 0..self.branches.len() {
                self.branches.update(index, |branch| {
                    total += u32::from(branch.length);
                    branch.total = total;
                });
            }
            let mut has_grown = false;
            for index in 0..self.branches.len() {
                let branch = self.branches.get(index);
                let length = match branch.op {
                    Op::Trap => self.reference(branch).encode().map(|it| it.as_slice().len() as u8),
                    _ => self.length_of(branch, self.distance(branch)),
                };
                let Some(length) = length else {
                    self.is_too_large = true;
                    return;
                };
                if length > branch.length {
                    self.branches.update(index, |branch| branch.length = length);
                    has_grown = true;
                }
            }
            if !has_grown {
                return;
            }
        }
    }

    /// Where that many bytes and branches end, counted from the start of this
    /// sweep's code.
    pub(crate) fn address(&self, bytes: u32, n_branches: u32) -> u32 {
        match n_branches.checked_sub(1) {
            Some(last) => bytes + self.branches.get(last).total,
            None => bytes,
        }
    }

    /// Follows a branch whose label holds a branch itself, so that a chain costs
    /// one step at run time. Also tells what a `branch` to a return really is.
    pub(crate) fn thread(&self, mut op: Op, mut label: LabelId) -> (Op, LabelId) {
        // A loop that does nothing leads to itself for ever.
        const MOST_STEPS: u32 = 16;
        for _ in 0..MOST_STEPS {
            let place = self.function.labels.get(label.0).place;
            let Some((first, mut next)) = self.operation_at(place) else { break };
            let mut found = first;
            // What the value kept would be behind the negations.
            let mut is_negated = false;
            let keeps = match op {
                Op::BranchKeepTrue => Some(true),
                Op::BranchKeepFalse => Some(false),
                _ => None,
            };
            while keeps.is_some() && found.0 == Op::Not {
                is_negated = !is_negated;
                let Some((after, behind)) = self.operation_at(next) else { break };
                (found, next) = (after, behind);
            }
            let step = match (keeps, found.0) {
                (None, Op::Branch) => Some((op, target_of(found))),
                (None, Op::Return | Op::ReturnUndefined) if op == Op::Branch => {
                    return (found.0, label);
                }
                (None, Op::PushTrue) if op == Op::Branch => match self.operation_at(next) {
                    Some((then, _)) if then.0 == Op::BranchTrue => Some((op, target_of(then))),
                    _ => None,
                },
                (Some(kept), Op::BranchTrue | Op::BranchFalse) => {
                    let truth = kept != is_negated;
                    let leads = truth == (found.0 == Op::BranchTrue);
                    let plain = if kept { Op::BranchTrue } else { Op::BranchFalse };
                    if leads {
                        Some((plain, target_of(found)))
                    } else {
                        self.label_at(next).map(|behind| (plain, behind))
                    }
                }
                (Some(kept), Op::BranchKeepTrue | Op::BranchKeepFalse) if !is_negated => {
                    if kept == (found.0 == Op::BranchKeepTrue) {
                        Some((op, target_of(found)))
                    } else {
                        let plain = if kept { Op::BranchTrue } else { Op::BranchFalse };
                        self.label_at(next).map(|behind| (plain, behind))
                    }
                }
                (Some(kept), Op::Drop) => {
                    let plain = if kept { Op::BranchTrue } else { Op::BranchFalse };
                    self.label_at(next).map(|behind| (plain, behind))
                }
                (Some(_), Op::Branch) if !is_negated => Some((op, target_of(found))),
                _ => None,
            };
            match step {
                Some((new_op, new_label)) if (new_op, new_label) != (op, label) => {
                    (op, label) = (new_op, new_label);
                }
                _ => break,
            }
        }
        (op, label)
    }

    /// Whether nothing but labels stands between here and the label.
    pub(crate) fn is_next(&self, label: LabelId) -> bool {
        let mut place = self.place;
        let mut level = self.open.len();
        let mut next = level.checked_sub(1).map_or(0, |top| self.open.get(top).0);
        loop {
            match Word::unpack(self.function.draft.get(place)) {
                Word::Label(found) if found == label => return true,
                Word::Label(_)
                | Word::Line(_)
                | Word::Column(_)
                | Word::Nothing
                | Word::GuardStart(_)
                | Word::GuardEnd(_) => place += 1,
                // Only the first segment is looked into: the label of a loop's
                // body is at its start.
                Word::Order(order) => {
                    let first = self.function.orders.get(order.0).first;
                    let Some(first) = first.checked_sub(1) else { return false };
                    let start = self.function.segments.get(first).start;
                    return Word::unpack(self.function.draft.get(start)) == Word::Label(label);
                }
                Word::End => {
                    let Some(top) = level.checked_sub(1) else { return false };
                    match next.checked_sub(1) {
                        Some(index) => {
                            let segment = self.function.segments.get(index);
                            (place, next) = (segment.start, segment.next);
                        }
                        None => {
                            place = self.open.get(top).1;
                            level = top;
                            next = level.checked_sub(1).map_or(0, |top| self.open.get(top).0);
                        }
                    }
                }
                _ => return false,
            }
        }
    }

    /// Where the next operation branches to in any case, if that is all that
    /// stands before the label and nothing leads to it; and the place behind it.
    pub(crate) fn jump_before(&self, label: LabelId) -> Option<(LabelId, u32)> {
        let mut place = self.place;
        let (jump, behind) = loop {
            match Word::unpack(self.function.draft.get(place)) {
                Word::Label(id) => {
                    let found = self.function.labels.get(id.0);
                    if found.n_refs > 0 || found.is_backward {
                        return None;
                    }
                }
                Word::Nothing => {}
                Word::Op(Op::Branch, target) => {
                    break (LabelId(target.cast_unsigned()), place + 1);
                }
                _ => return None,
            }
            place += 1;
        };
        place = behind;
        loop {
            match Word::unpack(self.function.draft.get(place)) {
                Word::Label(id) if id == label => return Some((jump, behind)),
                Word::Label(_) | Word::Nothing => place += 1,
                _ => return None,
            }
        }
    }

    /// The operation at a place of the draft and the place behind it, if what
    /// stands there before it makes no instruction.
    fn operation_at(&self, mut place: u32) -> Option<((Op, i32), u32)> {
        loop {
            match Word::unpack(self.function.draft.get(place)) {
                Word::Label(_) | Word::Line(_) | Word::Column(_) | Word::Nothing => place += 1,
                Word::Op(op, operand) => return Some(((op, operand), place + 1)),
                _ => return None,
            }
        }
    }

    fn label_at(&self, place: u32) -> Option<LabelId> {
        match Word::unpack(self.function.draft.get(place)) {
            Word::Label(label) => Some(label),
            _ => None,
        }
    }

    fn length_of(&self, branch: Branch, distance: i32) -> Option<u8> {
        let length = if branch.is_part {
            Digits::of(branch.op, distance)?.as_slice().len()
        } else {
            self.target.encoding.encode(branch.op, distance)?.as_slice().len()
        };
        Some(length as u8)
    }

    /// What an echo refers to, from where it begins.
    fn reference(&self, branch: Branch) -> Reference {
        let here = branch.bytes + branch.total - u32::from(branch.length);
        let there = self.address(0, branch.label.0).wrapping_add(branch.source);
        Reference { count: usize::from(branch.count), back: here.wrapping_sub(there) }
    }

    /// From behind a branch to its label.
    fn distance(&self, branch: Branch) -> i32 {
        let label = self.function.labels.get(branch.label.0);
        debug_assert!(label.place > 0, "a branch to a label that was never bound");
        let to = self.address(label.bytes, label.n_branches);
        to.wrapping_sub(branch.bytes + branch.total).cast_signed()
    }

    /// Operations that can throw or take memory get a position in the table.
    fn note_position(&mut self, position: Position) {
        let code = narrow::to_u32(self.target.code.len());
        if let Some(lines) = &mut self.target.lines
            && !self.is_measuring
            && position.line > 0
        {
            lines.add(code, position);
        }
    }

    /// Whether what cannot fail has places in the line table: nothing to ask where no build
    /// wants it.
    #[inline(always)]
    fn notes_all(&self) -> bool {
        cfg!(feature = "places") && self.target.notes_all
    }
}

/// The position of a composite: that of its first operation that has one in the table.
fn position_of(parts: &[Waiting], notes_all: bool) -> Position {
    let is_noted = |part: &&Waiting| notes_all || !is_silent(part.op);
    let noted = parts.iter().filter(is_noted).find(|part| part.position.line > 0);
    noted.map_or(Position { line: 0, column: 0 }, |part| part.position)
}

/// Whether an operation neither throws nor takes memory: it gets no place in the line
/// table.
pub fn is_silent(op: Op) -> bool {
    matches!(
        op,
        Op::PushUndefined
            | Op::PushNull
            | Op::PushTrue
            | Op::PushFalse
            | Op::PushInt
            | Op::PushConst
            | Op::Drop
            | Op::Dup
            | Op::DupPair
            | Op::Swap
            | Op::Tuck
            | Op::TuckPair
            | Op::LoadSlot
            | Op::StoreSlot
            | Op::KeepSlot
            | Op::ClearSlot
            | Op::InitBox
            | Op::LoadThis
            | Op::LoadCallee
            | Op::StrictEqual
            | Op::StrictNotEqual
            | Op::Not
            | Op::TypeOf
            | Op::Branch
            | Op::BranchTrue
            | Op::BranchFalse
            | Op::BranchKeepTrue
            | Op::BranchKeepFalse
            | Op::BranchCase
            | Op::Return
            | Op::ReturnUndefined
    )
}

fn label_of(operand: i32) -> LabelId {
    LabelId(operand.cast_unsigned())
}

fn target_of((_, operand): (Op, i32)) -> LabelId {
    LabelId(operand.cast_unsigned())
}
