//! Classes.
//!
//! The body is read once, and its constructor may stand anywhere in it, or nowhere. So
//! what makes the class is a segment of the draft that is written behind the elements
//! and emitted before them.
//!
//! The initialisers of all fields of the instances are one function, those of the static
//! ones with the static blocks another. Both stay open beside the function around while
//! the body is read: between fields they give the names back, and the same name in two
//! fields becomes one variable when they close. A function a field would take a closure
//! each in the heap.
//!
//! It refuses private elements, generators (read to their end), async methods and accessor fields.

use alloc::format;

use scruple_bytecode::image::record;
use scruple_bytecode::ops::Op;

use crate::arena::Arena;
use crate::atoms::{Atom, Atoms};
use crate::closed::Closed;
use crate::declarations::Binding;
use crate::draft::{ScopeId, Word};
use crate::function::{Function, FunctionKind};
use crate::narrow;
use crate::objects::{Accessor, Key};
use crate::parser::{Parsed, Parser};
use crate::records::State;
use crate::reference::{Operand, Place};
use crate::token::{Kind, Mark, Token};

const EARLY_ERRORS: &str = "sec-class-definitions-static-semantics-early-errors";

/// What the functions around allow.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Context {
    pub(crate) has_super_property: bool,
    pub(crate) has_super_call: bool,
    pub(crate) has_new_target: bool,
    /// An initialiser or a static block, which have no `arguments`.
    has_no_arguments: bool,
    /// A static block, where `await` is no name.
    has_no_await: bool,
    /// The body of a generator, where `yield` is an operator.
    pub(crate) has_yield: bool,
}

impl Context {
    /// In a function that stands here.
    pub(crate) fn within(self, kind: FunctionKind) -> Context {
        let plain = Context { has_new_target: true, ..Context::default() };
        let method = Context { has_super_property: true, ..plain };
        match kind {
            FunctionKind::Script => Context::default(),
            FunctionKind::Arrow => Context { has_yield: false, ..self },
            FunctionKind::Plain => plain,
            FunctionKind::Method | FunctionKind::Constructor => method,
            FunctionKind::Derived => Context { has_super_call: true, ..method },
            FunctionKind::Initializer => Context { has_no_arguments: true, ..method },
        }
    }

    /// In the body of an arrow function that stands here: `await` is a name there.
    pub(crate) fn in_arrow_body(self) -> Context {
        Context { has_no_await: false, ..self }
    }
}

/// A function of initialisers, open while the class's body is read.
struct Initializer<'a> {
    arena: &'a Arena<'a>,
    function: Option<Function<'a>>,
    /// How many records there were when it was resumed.
    n_records: u32,
}

/// A class whose body is read.
struct Class<'a> {
    derives: bool,
    constructor: Option<Closed>,
    fields: Initializer<'a>,
    statics: Initializer<'a>,
}

/// The name of an element, and how it is written.
#[derive(Clone, Copy)]
struct Named {
    key: Key,
    is_computed: bool,
    is_generator: bool,
    mark: Mark,
}

impl Parser<'_, '_> {
    /// ClassDeclaration ( -- )
    #[inline(never)]
    pub(crate) fn class_declaration(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        let start = self.advance().mark;
        let (atom, mark) = self.binding_identifier("the class's name")?;
        let var = self.declare(f, atom, mark, State::Let)?;
        self.class(f, start, Some(atom))?;
        self.initialise(f, Binding { atom, mark, state: State::Let, var });
        Ok(())
    }

    /// ClassExpression ( -- class )
    #[inline(never)]
    pub(crate) fn class_expression(&mut self, f: &mut Function<'_>) -> Parsed<Operand> {
        let start = self.advance().mark;
        if matches!(self.token.kind, Kind::Extends | Kind::LeftBrace) {
            return Ok(Operand::Closure(self.class(f, start, None)?));
        }
        let (atom, _) = self.binding_identifier("the class's name or `{`")?;
        self.class(f, start, Some(atom))?;
        Ok(Operand::Value)
    }

    /// ClassTail ( -- class ). The name is bound in it.
    fn class(&mut self, f: &mut Function<'_>, mark: Mark, name: Option<Atom>) -> Parsed<Closed> {
        self.enter()?;
        let (fields, statics) = (self.pool.take(), self.pool.take());
        let closed = self.class_in(&fields, &statics, f, mark, name);
        self.pool.give_back(fields);
        self.pool.give_back(statics);
        self.leave();
        closed
    }

    #[inline(never)]
    fn class_in<'a>(
        &mut self,
        fields: &'a Arena<'a>,
        statics: &'a Arena<'a>,
        f: &mut Function<'_>,
        mark: Mark,
        name: Option<Atom>,
    ) -> Parsed<Closed> {
        let outer = f.scope;
        f.enter_scope();
        let binding = match name {
            Some(atom) => {
                let declared = f.declare(&mut self.atoms, atom, State::Const);
                Some(declared.map_err(|_| self.conflict(atom, mark))?)
            }
            None => None,
        };
        let derives = self.eat(Kind::Extends);
        if derives {
            let heritage = self.left_hand_side_expression(f)?;
            self.value(f, heritage);
        } else {
            f.op(Op::PushUndefined);
        }
        let depth = f.depth;
        let mut class = Class {
            derives,
            constructor: None,
            fields: Initializer { arena: fields, function: None, n_records: 0 },
            statics: Initializer { arena: statics, function: None, n_records: 0 },
        };
        let order = f.begin_order();
        let body = f.begin_segment();
        f.set_depth(depth + 1);
        self.expect(Kind::LeftBrace, "`{` before the class's body")?;
        while !self.is(Kind::RightBrace) {
            if !self.eat(Kind::Semicolon) {
                self.class_element(f, &mut class)?;
            }
        }
        self.advance();
        let constructor = match class.constructor {
            Some(constructor) => constructor,
            None => self.default_constructor(f, derives, mark)?,
        };
        let fields = self.close_initializer(&mut class.fields, f, mark)?;
        let statics = self.close_initializer(&mut class.statics, f, mark)?;
        self.output.functions.set_name(constructor, name);
        if fields.is_some() {
            self.output.functions.add_flags(constructor, record::FLAG_LINKED);
        }
        f.at(mark);
        if let Some(fields) = fields {
            self.closure(f, fields, mark);
            f.op(Op::SetFields);
        }
        f.op(Op::Drop);
        if let Some(var) = binding
            && f.is_touched(var)
        {
            f.op(Op::Dup);
            f.word_with_effect(Word::Init(var), 1, 0);
        }
        if let Some(statics) = statics {
            f.op(Op::Dup);
            self.call_initializer(f, statics, mark);
        }
        f.end_segment();
        let making = f.begin_segment();
        f.set_depth(depth);
        f.at(mark);
        f.op_with(Op::MakeClass, narrow::to_operand(constructor.id));
        f.end_segment();
        f.emit_next(order, making);
        f.emit_next(order, body);
        f.end_order(order);
        f.set_depth(depth);
        f.close_scopes_to(&mut self.atoms, outer);
        Ok(constructor)
    }

    /// ( object -- object ): the initialiser is called with the object as its this
    /// value, which is also what it is defined in ( this -- )
    fn call_initializer(&mut self, f: &mut Function<'_>, id: Closed, mark: Mark) {
        if self.is_linked(id) {
            f.op(Op::PushUndefined);
            self.closure(f, id, mark);
            f.op(Op::SetHome);
            f.op(Op::Swap);
            f.op(Op::Drop);
        } else {
            self.closure(f, id, mark);
        }
        f.op(Op::Swap);
        f.op_with(Op::CallMethod, 0);
        f.op(Op::Drop);
    }

    /// Whether a closed function's closure has one more reference.
    pub(crate) fn is_linked(&self, id: Closed) -> bool {
        self.output.functions.flags(id) & record::FLAG_LINKED != 0
    }

    /// The constructor of a class that has none (ECMA-262,
    /// ClassDefinitionEvaluation).
    fn default_constructor(
        &mut self,
        f: &mut Function<'_>,
        derives: bool,
        mark: Mark,
    ) -> Parsed<Closed> {
        let kind = if derives { FunctionKind::Derived } else { FunctionKind::Constructor };
        self.nested_function(f, mark, kind, None, |this, inner| {
            if derives {
                this.default_derived(inner, mark);
            }
            Ok(())
        })
    }

    /// ClassElement ( constructor prototype -- constructor prototype )
    #[inline(never)]
    fn class_element(&mut self, f: &mut Function<'_>, class: &mut Class<'_>) -> Parsed<()> {
        let mut is_static = false;
        if self.is(Kind::Static) {
            let next = self.lexer.peek().kind;
            if next == Kind::LeftBrace {
                return self.static_block(f, class);
            }
            if !ends_name(next) {
                self.advance();
                is_static = true;
            }
        }
        let is_generator = self.generator_star("a generator method");
        let accessor = if is_generator { None } else { self.accessor_word()? };
        if accessor.is_some() {
            self.advance();
        }
        let start = self.token;
        let key = self.property_name(f)?;
        let is_computed = start.kind == Kind::LeftBracket;
        let named = Named { key, is_computed, is_generator, mark: start.mark };
        if self.is(Kind::LeftParen) || accessor.is_some() || is_generator {
            return self.class_method(f, class, is_static, accessor, named);
        }
        self.field(f, class, is_static, named, start)
    }

    /// `get` or `set` before a name; `async` and `accessor` there are refused.
    fn accessor_word(&mut self) -> Parsed<Option<Accessor>> {
        let Token { kind: Kind::Identifier, escaped: false, mark, .. } = self.token else {
            return Ok(None);
        };
        let next = self.lexer.peek();
        let names_next = next.kind.is_identifier_name()
            || matches!(
                next.kind,
                Kind::Text | Kind::Number | Kind::BigInt | Kind::LeftBracket | Kind::PrivateName
            );
        match self.text_of(mark) {
            "get" if names_next => Ok(Some(Accessor::Get)),
            "set" if names_next => Ok(Some(Accessor::Set)),
            "async" if (names_next || next.kind == Kind::Star) && !next.newline_before => {
                let clause = "sec-async-function-definitions";
                Err(self.unsupported(mark, clause, "an async method"))
            }
            "accessor" if names_next && !next.newline_before => {
                Err(self.unsupported(mark, "sec-class-definitions", "an accessor field"))
            }
            _ => Ok(None),
        }
    }

    /// MethodDefinition behind its name
    /// ( constructor prototype [key] -- constructor prototype )
    fn class_method(
        &mut self,
        f: &mut Function<'_>,
        class: &mut Class<'_>,
        is_static: bool,
        accessor: Option<Accessor>,
        named: Named,
    ) -> Parsed<()> {
        let Named { key, is_computed, is_generator, mark } = named;
        let name = if is_computed { None } else { key.name() };
        let is = |this: &Self, text| name.is_some_and(|name| this.atoms.is(name, text));
        if is_static && is(self, "prototype") {
            let message = "no static method is called `prototype`";
            return Err(self.syntax(mark, EARLY_ERRORS, message));
        }
        if !is_static && is(self, "constructor") {
            if accessor.is_some() {
                let message = "a constructor is neither a getter nor a setter";
                return Err(self.syntax(mark, EARLY_ERRORS, message));
            }
            if is_generator {
                let message = "a constructor is no generator";
                return Err(self.syntax(mark, EARLY_ERRORS, message));
            }
            if class.constructor.is_some() {
                let message = "a class has one constructor at most";
                return Err(self.syntax(mark, EARLY_ERRORS, message));
            }
            let kind =
                if class.derives { FunctionKind::Derived } else { FunctionKind::Constructor };
            class.constructor = Some(self.function(f, mark, kind, None, false)?);
            return Ok(());
        }
        if let Key::Name(atom) = key {
            self.push_text(f, atom);
        }
        let parameters = self.token.mark;
        let id = self.function(f, mark, FunctionKind::Method, None, is_generator)?;
        let kind = match accessor {
            None => 0,
            Some(accessor) => {
                self.check_accessor(id, accessor, parameters)?;
                accessor as i32 + 1
            }
        };
        let operand = self.closure(f, id, mark);
        self.name_after_key(f, operand, key, accessor);
        f.at(mark);
        f.op_with(Op::DefineMember, kind | if is_static { 4 } else { 0 });
        Ok(())
    }

    /// FieldDefinition behind its name
    /// ( constructor prototype [key] -- constructor prototype )
    fn field(
        &mut self,
        f: &mut Function<'_>,
        class: &mut Class<'_>,
        is_static: bool,
        named: Named,
        start: Token,
    ) -> Parsed<()> {
        let name = if named.is_computed { None } else { named.key.name() };
        let is = |this: &Self, text| name.is_some_and(|name| this.atoms.is(name, text));
        if is(self, "constructor") || is_static && is(self, "prototype") {
            let name = self.atoms.show(name.unwrap_or_default());
            let message = format!("no field is called `{name}` here");
            return Err(self.syntax(start.mark, EARLY_ERRORS, message));
        }
        // A key that is computed is so once, before there are objects: it waits in a
        // variable. Any other one is pushed where it is needed.
        let mut key_word = None;
        let mut key_name = Atom::EMPTY;
        match named.key {
            Key::Pushed(_) if named.is_computed => {
                key_name = self.atoms.intern(&format!(" {}", start.mark.start));
                let declared = f.declare(&mut self.atoms, key_name, State::Hidden);
                let var = declared.map_err(|_| self.conflict(key_name, start.mark))?;
                f.word_with_effect(Word::Init(var), 1, 0);
            }
            Key::Pushed(_) => {
                key_word = Some(f.last_word());
                f.draft.set(f.draft.len() - 1, Word::Nothing.pack());
                f.set_depth(f.depth - 1);
            }
            Key::Name(_) => {}
        }
        let initializer = if is_static { &mut class.statics } else { &mut class.fields };
        let mut inner = initializer.resume(f);
        let context = self.context;
        self.context = context.within(FunctionKind::Initializer);
        let defined = (|| {
            inner.at(named.mark);
            inner.op(Op::LoadThis);
            match (named.key, key_word) {
                (Key::Name(atom), _) => self.push_text(&mut inner, atom),
                (_, Some(word)) => inner.word_with_effect(word, 0, 1),
                _ => self.read(&mut inner, Place::Name(key_name), named.mark),
            }
            if self.eat(Kind::Assign) {
                let value = self.assignment_expression(&mut inner, false)?;
                self.name_after_key(&mut inner, value, named.key, None);
                self.value(&mut inner, value);
            } else {
                inner.op(Op::PushUndefined);
            }
            inner.at(named.mark);
            inner.op(Op::DefineField);
            inner.op(Op::Drop);
            Ok(())
        })();
        self.context = context;
        initializer.suspend(inner, &mut self.atoms);
        defined?;
        self.semicolon()
    }

    /// ClassStaticBlock ( constructor prototype -- constructor prototype ): a function of
    /// its own, which the static initialiser calls.
    fn static_block(&mut self, f: &mut Function<'_>, class: &mut Class<'_>) -> Parsed<()> {
        let mark = self.advance().mark;
        let mut inner = class.statics.resume(f);
        let context = self.context;
        let closed = self.nested_function(
            &mut inner,
            mark,
            FunctionKind::Initializer,
            None,
            |this, block| {
                this.context.has_no_await = true;
                this.static_block_body(block)
            },
        );
        self.context = context;
        if let Ok(id) = closed {
            inner.at(mark);
            inner.op(Op::LoadThis);
            self.call_initializer(&mut inner, id, mark);
        }
        class.statics.suspend(inner, &mut self.atoms);
        closed.map(|_| ())
    }

    fn static_block_body(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        self.expect(Kind::LeftBrace, "`{`")?;
        self.statement_list(f);
        f.close_scopes_to(&mut self.atoms, ScopeId(0));
        self.expect(Kind::RightBrace, "`}` behind a static block")?;
        Ok(())
    }

    fn close_initializer<'a>(
        &mut self,
        initializer: &mut Initializer<'a>,
        f: &mut Function<'_>,
        mark: Mark,
    ) -> Parsed<Option<Closed>> {
        let Some(mut function) = initializer.function.take() else { return Ok(None) };
        if self.has_errors() {
            // Its names are given back, and nothing of it will be needed.
            return Ok(None);
        }
        function.base = f.base + f.records.len();
        function.join_names(&mut self.atoms);
        self.end_function(&mut function);
        self.close_function(&mut function, initializer.arena, f, mark).map(Some)
    }

    /// `arguments`, which initialisers have not.
    pub(crate) fn check_arguments(&mut self, atom: Atom, mark: Mark) -> Parsed<()> {
        if atom == Atom::ARGUMENTS && self.context.has_no_arguments {
            let message = "a field or a static block has no `arguments`";
            return Err(self.syntax(mark, EARLY_ERRORS, message));
        }
        Ok(())
    }

    /// `await`, which is no name in a static block.
    pub(crate) fn check_await(&mut self, atom: Atom, mark: Mark) -> Parsed<()> {
        if self.context.has_no_await && self.atoms.is(atom, "await") {
            let message = "`await` is no name in a static block";
            return Err(self.syntax(mark, EARLY_ERRORS, message));
        }
        Ok(())
    }
}

impl<'a> Initializer<'a> {
    /// The function, to go on with inside another.
    fn resume(&mut self, around: &Function<'_>) -> Function<'a> {
        let base = around.base + around.records.len();
        let arena = self.arena;
        let mut function = self
            .function
            .take()
            .unwrap_or_else(|| Function::new(arena, FunctionKind::Initializer, base));
        function.base = base;
        self.n_records = function.records.len();
        function
    }

    /// Puts it aside: the names that it took since it was resumed are given back.
    fn suspend(&mut self, mut function: Function<'a>, atoms: &mut Atoms) {
        function.close_scopes_to(atoms, ScopeId(0));
        function.give_names_back(atoms, self.n_records);
        function.set_depth(0);
        self.function = Some(function);
    }
}

/// Whether a word before such a token is a name itself.
fn ends_name(kind: Kind) -> bool {
    matches!(kind, Kind::LeftParen | Kind::Assign | Kind::Semicolon | Kind::RightBrace)
}
