//! The state of one open function: its draft, labels, segments, guards and the
//! operand-stack depth; and how productions write to it.
//!
//! All of it lives in the function's arena and goes when the function closes.
//! It refuses to know names (`variables` does) and final bytes (`sweep` does).

use scruple_bytecode::ops::{Flow, Op};

use crate::arena::{Arena, Chunks};
use crate::atoms::Atom;
use crate::closed::{Child, FreeRow};
use crate::draft::{Guard, GuardId, Label, LabelId, Order, OrderId, ScopeId, Segment, VarId, Word};
use crate::exits::{Control, Exit, Site};
use crate::narrow;
use crate::records::{Hoisted, Record, Scope};
use crate::token::Mark;

/// What a function is, as far as names and the image's flags differ.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum FunctionKind {
    /// One statement of the script itself.
    Script,
    /// A function declaration or expression.
    Plain,
    /// An arrow function.
    Arrow,
    /// A method, getter or setter.
    Method,
    /// The constructor of a class that extends none.
    Constructor,
    /// The constructor of a class that extends another.
    Derived,
    /// What a class does without a function of the source: it defines fields, or it
    /// is a static block.
    Initializer,
}

/// An open function.
pub(crate) struct Function<'a> {
    pub(crate) kind: FunctionKind,
    /// The name of a function expression, bound in the function itself.
    pub(crate) own_name: Option<Atom>,
    /// The innermost block of a catch whose parameter is a pattern, and the scope that
    /// the pattern's names are in.
    pub(crate) caught: Option<(ScopeId, ScopeId)>,
    /// The variable of `new.target`, if the function has one: set when names settle.
    pub(crate) target: Option<VarId>,
    /// Whether it asks for the object it is defined in.
    pub(crate) uses_home: bool,
    /// Where a `return` goes with its value, if that is looked at.
    pub(crate) epilogue: Option<LabelId>,
    /// Whether no enclosing function or block can hold a variable: free names
    /// are globals.
    pub(crate) is_global_only: bool,
    pub(crate) n_params: u32,
    /// The parameters before the first default or rest, once that is known.
    pub(crate) length: Option<u32>,
    pub(crate) has_rest: bool,
    /// The scope that `var` declares in: the function's own, or where a parameter
    /// is more than a name, the body's.
    pub(crate) var_scope: ScopeId,
    /// Variables of the body that begin with the value of a parameter of that name.
    pub(crate) copies: Chunks<'a, (VarId, VarId), 4>,
    pub(crate) draft: Chunks<'a, u32, 32>,
    pub(crate) labels: Chunks<'a, Label, 8>,
    pub(crate) orders: Chunks<'a, Order, 4>,
    pub(crate) segments: Chunks<'a, Segment, 4>,
    pub(crate) guards: Chunks<'a, Guard, 4>,
    pub(crate) controls: Chunks<'a, Control, 4>,
    /// Ways out of open try statements, and where the draft takes them.
    pub(crate) exits: Chunks<'a, Exit, 4>,
    pub(crate) sites: Chunks<'a, Site, 4>,
    pub(crate) records: Chunks<'a, Record, 8>,
    pub(crate) scopes: Chunks<'a, Scope, 4>,
    pub(crate) hoisted: Chunks<'a, Hoisted, 4>,
    /// How many records the enclosing open functions have.
    pub(crate) base: u32,
    /// The innermost open scope.
    pub(crate) scope: ScopeId,
    /// The functions closed inside this one, and the free variables of all of them.
    pub(crate) children: Chunks<'a, Child, 8>,
    pub(crate) frees: Chunks<'a, FreeRow, 8>,
    pub(crate) depth: u32,
    pub(crate) max_depth: u32,
    line: u32,
    column: u32,
}

impl<'a> Function<'a> {
    pub(crate) fn new(arena: &'a Arena<'a>, kind: FunctionKind, base: u32) -> Self {
        let mut function = Function {
            kind,
            own_name: None,
            caught: None,
            target: None,
            uses_home: false,
            epilogue: None,
            is_global_only: false,
            n_params: 0,
            length: None,
            has_rest: false,
            var_scope: ScopeId(0),
            copies: Chunks::new(arena),
            draft: Chunks::new(arena),
            labels: Chunks::new(arena),
            orders: Chunks::new(arena),
            segments: Chunks::new(arena),
            guards: Chunks::new(arena),
            controls: Chunks::new(arena),
            exits: Chunks::new(arena),
            sites: Chunks::new(arena),
            records: Chunks::new(arena),
            scopes: Chunks::new(arena),
            hoisted: Chunks::new(arena),
            base,
            scope: ScopeId(0),
            children: Chunks::new(arena),
            frees: Chunks::new(arena),
            depth: 0,
            max_depth: 0,
            line: 0,
            column: 0,
        };
        function.scopes.push(Scope::default());
        function.word(Word::Enter(ScopeId(0)));
        function
    }

    /// Appends a word as it is and returns its draft index.
    pub(crate) fn word(&mut self, word: Word) -> u32 {
        self.draft.push(word.pack())
    }

    /// Appends a word that leaves `pushes` values where it took `pops`.
    pub(crate) fn word_with_effect(&mut self, word: Word, pops: u32, pushes: u32) {
        self.word(word);
        self.set_depth(self.depth.saturating_sub(pops) + pushes);
    }

    /// Appends an operation without operand.
    pub(crate) fn op(&mut self, op: Op) {
        self.op_with(op, 0);
    }

    /// Appends an operation.
    pub(crate) fn op_with(&mut self, op: Op, operand: i32) {
        let effect = op.info().effect;
        let taken = effect.taken(operand);
        self.word_with_effect(Word::Op(op, operand), taken, u32::from(effect.pushes));
    }

    /// Sets the operand-stack depth: what it is at a label that only branches
    /// lead to is not known from the operation before.
    pub(crate) fn set_depth(&mut self, depth: u32) {
        self.depth = depth;
        self.max_depth = self.max_depth.max(depth);
    }

    /// The position of what follows.
    pub(crate) fn at(&mut self, mark: Mark) {
        if mark.line != self.line {
            self.word(Word::Line(mark.line));
            self.word(Word::Column(mark.column));
        } else if mark.column != self.column {
            self.word(Word::Column(mark.column));
        }
        self.line = mark.line;
        self.column = mark.column;
    }

    /// A label for later.
    pub(crate) fn label(&mut self) -> LabelId {
        LabelId(self.labels.push(Label::default()))
    }

    /// The label is here; branches to it stand before it.
    pub(crate) fn bind(&mut self, label: LabelId) {
        self.word(Word::Label(label));
        let place = self.draft.len();
        self.labels.update(label.0, |l| l.place = place);
    }

    /// A label that is here; branches to it may stand behind it.
    pub(crate) fn bind_backward(&mut self) -> LabelId {
        let label = self.label();
        self.bind_backward_to(label);
        label
    }

    /// The label is here; branches to it may stand behind it.
    pub(crate) fn bind_backward_to(&mut self, label: LabelId) {
        self.labels.update(label.0, |l| l.is_backward = true);
        self.bind(label);
    }

    /// Appends a branch. Behind a conditional one a label follows, so that the
    /// sweep can lead another branch there.
    pub(crate) fn branch(&mut self, op: Op, label: LabelId) {
        self.op_with(op, narrow::to_operand(label.0));
        if op.info().flow != Flow::Jump {
            let behind = self.label();
            self.bind(behind);
        }
    }

    /// An order whose word the caller writes.
    pub(crate) fn plan_order(&mut self) -> OrderId {
        OrderId(self.orders.push(Order::default()))
    }

    /// Segments follow.
    pub(crate) fn begin_order(&mut self) -> OrderId {
        let order = self.plan_order();
        self.word(Word::Order(order));
        order
    }

    /// A segment begins here; emitted only once it is given to an order.
    pub(crate) fn begin_segment(&mut self) -> u32 {
        // The position that the draft stood at says nothing where another
        // segment comes before.
        self.line = 0;
        let start = self.draft.len();
        self.segments.push(Segment { start, next: 0 })
    }

    pub(crate) fn end_segment(&mut self) {
        self.word(Word::End);
        self.line = 0;
    }

    /// The segment is the next one of the order.
    pub(crate) fn emit_next(&mut self, order: OrderId, segment: u32) {
        let last = self.orders.get(order.0).last;
        if last == 0 {
            self.orders.update(order.0, |o| o.first = segment + 1);
        } else {
            self.segments.update(last - 1, |s| s.next = segment + 1);
        }
        self.orders.update(order.0, |o| o.last = segment + 1);
    }

    /// All segments of the order stand before this.
    pub(crate) fn end_order(&mut self, order: OrderId) {
        let resume = self.draft.len();
        self.orders.update(order.0, |o| o.resume = resume);
        self.line = 0;
    }

    /// A guarded range begins: exceptions in it go to the handler.
    pub(crate) fn begin_guard(&mut self, handler: LabelId) -> GuardId {
        let guard = GuardId(self.guards.push(Guard { handler, start: (0, 0) }));
        self.word(Word::GuardStart(guard));
        guard
    }

    pub(crate) fn end_guard(&mut self, guard: GuardId) {
        self.word(Word::GuardEnd(guard));
    }

    /// The last word of the draft.
    pub(crate) fn last_word(&self) -> Word {
        match self.draft.len().checked_sub(1) {
            Some(last) => Word::unpack(self.draft.get(last)),
            None => Word::End,
        }
    }
}
