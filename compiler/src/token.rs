//! The kinds of token, as the lexer generator's table.
//!
//! It owns which characters begin which token. It refuses the parts that no
//! regular expression describes well (strings, templates, block comments,
//! identifiers past ASCII): `lexer` finishes those by hand from the first
//! characters matched here, which also keeps Unicode tables out of the
//! generated automaton.

use logos::Logos;
use scruple_bytecode::image::Position;

/// A kind of token.
#[derive(Logos, Clone, Copy, Debug, PartialEq, Eq)]
#[logos(skip r"[ \t\x0B\x0C]+")]
pub(crate) enum Kind {
    // What the lexer finishes or drops.
    #[regex(r"\r\n|\n|\r")]
    Newline,
    #[regex(r"//[^\n\r\u{2028}\u{2029}]*", allow_greedy = true)]
    LineComment,
    #[token("/*")]
    BlockComment,
    #[regex(r"[^\x00-\x7F]")]
    NonAscii,

    #[regex(r"[A-Za-z$_][A-Za-z0-9$_]*")]
    #[token("\\")]
    Identifier,
    #[regex(r"[0-9]")]
    #[regex(r"\.[0-9]")]
    Number,
    #[token("\"")]
    #[token("'")]
    Text,
    #[token("`")]
    Template,
    #[token("#")]
    PrivateName,
    #[token("<!--")]
    HtmlComment,

    // What no pattern yields: the lexer's own verdicts.
    BigInt,
    LegacyNumber,
    BadNumber,
    BadText,
    BadComment,
    BadEscape,
    Unknown,
    End,

    // Punctuators.
    #[token("{")]
    LeftBrace,
    #[token("}")]
    RightBrace,
    #[token("(")]
    LeftParen,
    #[token(")")]
    RightParen,
    #[token("[")]
    LeftBracket,
    #[token("]")]
    RightBracket,
    #[token(".")]
    Dot,
    #[token("...")]
    Ellipsis,
    #[token(";")]
    Semicolon,
    #[token(",")]
    Comma,
    #[token("<")]
    Less,
    #[token(">")]
    Greater,
    #[token("<=")]
    LessEqual,
    #[token(">=")]
    GreaterEqual,
    #[token("==")]
    Equal,
    #[token("!=")]
    NotEqual,
    #[token("===")]
    StrictEqual,
    #[token("!==")]
    StrictNotEqual,
    #[token("+")]
    Plus,
    #[token("-")]
    Minus,
    #[token("*")]
    Star,
    #[token("/")]
    Slash,
    #[token("%")]
    Percent,
    #[token("**")]
    StarStar,
    #[token("++")]
    Increment,
    #[token("--")]
    Decrement,
    #[token("<<")]
    ShiftLeft,
    #[token(">>")]
    ShiftRight,
    #[token(">>>")]
    ShiftRightUnsigned,
    #[token("&")]
    And,
    #[token("|")]
    Or,
    #[token("^")]
    Xor,
    #[token("!")]
    Not,
    #[token("~")]
    Tilde,
    #[token("&&")]
    AndAnd,
    #[token("||")]
    OrOr,
    #[token("??")]
    Coalesce,
    #[token("?")]
    Question,
    #[token("?.")]
    OptionalChain,
    #[token(":")]
    Colon,
    #[token("=>")]
    Arrow,
    #[token("=")]
    Assign,
    #[token("+=")]
    AssignAdd,
    #[token("-=")]
    AssignSubtract,
    #[token("*=")]
    AssignMultiply,
    #[token("/=")]
    AssignDivide,
    #[token("%=")]
    AssignRemainder,
    #[token("**=")]
    AssignPower,
    #[token("<<=")]
    AssignShiftLeft,
    #[token(">>=")]
    AssignShiftRight,
    #[token(">>>=")]
    AssignShiftRightUnsigned,
    #[token("&=")]
    AssignAnd,
    #[token("|=")]
    AssignOr,
    #[token("^=")]
    AssignXor,
    #[token("&&=")]
    #[token("||=")]
    #[token("??=")]
    AssignLogical,

    // Reserved words; strict mode code reserves those of the last group too.
    #[token("break")]
    Break,
    #[token("case")]
    Case,
    #[token("catch")]
    Catch,
    #[token("class")]
    Class,
    #[token("const")]
    Const,
    #[token("continue")]
    Continue,
    #[token("debugger")]
    Debugger,
    #[token("default")]
    Default,
    #[token("delete")]
    Delete,
    #[token("do")]
    Do,
    #[token("else")]
    Else,
    #[token("enum")]
    Enum,
    #[token("export")]
    Export,
    #[token("extends")]
    Extends,
    #[token("false")]
    False,
    #[token("finally")]
    Finally,
    #[token("for")]
    For,
    #[token("function")]
    Function,
    #[token("if")]
    If,
    #[token("import")]
    Import,
    #[token("in")]
    In,
    #[token("instanceof")]
    InstanceOf,
    #[token("new")]
    New,
    #[token("null")]
    Null,
    #[token("return")]
    Return,
    #[token("super")]
    Super,
    #[token("switch")]
    Switch,
    #[token("this")]
    This,
    #[token("throw")]
    Throw,
    #[token("true")]
    True,
    #[token("try")]
    Try,
    #[token("typeof")]
    TypeOf,
    #[token("var")]
    Var,
    #[token("void")]
    Void,
    #[token("while")]
    While,
    #[token("with")]
    With,
    #[token("let")]
    Let,
    #[token("static")]
    Static,
    #[token("yield")]
    Yield,
    #[token("implements")]
    Implements,
    #[token("interface")]
    Interface,
    #[token("package")]
    Package,
    #[token("private")]
    Private,
    #[token("protected")]
    Protected,
    #[token("public")]
    Public,
}

impl Kind {
    /// Whether it is a reserved word, in strict mode code or in any.
    pub(crate) fn is_reserved_word(self) -> bool {
        self as u8 >= Kind::Break as u8
    }

    /// Whether only strict mode code reserves the word.
    pub(crate) fn is_strict_reserved_word(self) -> bool {
        self as u8 >= Kind::Let as u8
    }

    /// Whether it can stand where a property name without quotes can.
    pub(crate) fn is_identifier_name(self) -> bool {
        self == Kind::Identifier || self.is_reserved_word()
    }

    /// Whether a statement can begin with it and no expression can go on with
    /// it: where an error in a statement is given up, such a word on a new line
    /// is where the next statement is taken to begin.
    pub(crate) fn begins_statement(self) -> bool {
        matches!(
            self,
            Kind::Break
                | Kind::Class
                | Kind::Const
                | Kind::Continue
                | Kind::Debugger
                | Kind::Do
                | Kind::Export
                | Kind::For
                | Kind::Function
                | Kind::If
                | Kind::Import
                | Kind::Let
                | Kind::Return
                | Kind::Switch
                | Kind::Throw
                | Kind::Try
                | Kind::Var
                | Kind::While
        )
    }
}

/// A token, and where it lies.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Token {
    pub(crate) kind: Kind,
    /// Whether a line terminator stands between it and the token before.
    pub(crate) newline_before: bool,
    /// Whether an identifier or string holds an escape or a line continuation.
    pub(crate) escaped: bool,
    pub(crate) mark: Mark,
}

/// A stretch of the source with the position it begins at.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Mark {
    pub(crate) start: u32,
    pub(crate) end: u32,
    pub(crate) line: u32,
    pub(crate) column: u32,
}

impl Mark {
    /// Where it begins.
    pub(crate) fn position(self) -> Position {
        Position { line: self.line, column: self.column }
    }

    /// From the start of this to the end of another.
    pub(crate) fn to(self, end: Mark) -> Mark {
        Mark { end: end.end.max(self.end), ..self }
    }
}
