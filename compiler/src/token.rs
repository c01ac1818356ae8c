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

    // Reserved words, in the order of `words::RESERVED`, which finds them where flash
    // is scarce; strict mode code reserves those of the last group too.
    #[cfg_attr(not(feature = "small"), token("break"))]
    Break,
    #[cfg_attr(not(feature = "small"), token("case"))]
    Case,
    #[cfg_attr(not(feature = "small"), token("catch"))]
    Catch,
    #[cfg_attr(not(feature = "small"), token("class"))]
    Class,
    #[cfg_attr(not(feature = "small"), token("const"))]
    Const,
    #[cfg_attr(not(feature = "small"), token("continue"))]
    Continue,
    #[cfg_attr(not(feature = "small"), token("debugger"))]
    Debugger,
    #[cfg_attr(not(feature = "small"), token("default"))]
    Default,
    #[cfg_attr(not(feature = "small"), token("delete"))]
    Delete,
    #[cfg_attr(not(feature = "small"), token("do"))]
    Do,
    #[cfg_attr(not(feature = "small"), token("else"))]
    Else,
    #[cfg_attr(not(feature = "small"), token("enum"))]
    Enum,
    #[cfg_attr(not(feature = "small"), token("export"))]
    Export,
    #[cfg_attr(not(feature = "small"), token("extends"))]
    Extends,
    #[cfg_attr(not(feature = "small"), token("false"))]
    False,
    #[cfg_attr(not(feature = "small"), token("finally"))]
    Finally,
    #[cfg_attr(not(feature = "small"), token("for"))]
    For,
    #[cfg_attr(not(feature = "small"), token("function"))]
    Function,
    #[cfg_attr(not(feature = "small"), token("if"))]
    If,
    #[cfg_attr(not(feature = "small"), token("import"))]
    Import,
    #[cfg_attr(not(feature = "small"), token("in"))]
    In,
    #[cfg_attr(not(feature = "small"), token("instanceof"))]
    InstanceOf,
    #[cfg_attr(not(feature = "small"), token("new"))]
    New,
    #[cfg_attr(not(feature = "small"), token("null"))]
    Null,
    #[cfg_attr(not(feature = "small"), token("return"))]
    Return,
    #[cfg_attr(not(feature = "small"), token("super"))]
    Super,
    #[cfg_attr(not(feature = "small"), token("switch"))]
    Switch,
    #[cfg_attr(not(feature = "small"), token("this"))]
    This,
    #[cfg_attr(not(feature = "small"), token("throw"))]
    Throw,
    #[cfg_attr(not(feature = "small"), token("true"))]
    True,
    #[cfg_attr(not(feature = "small"), token("try"))]
    Try,
    #[cfg_attr(not(feature = "small"), token("typeof"))]
    TypeOf,
    #[cfg_attr(not(feature = "small"), token("var"))]
    Var,
    #[cfg_attr(not(feature = "small"), token("void"))]
    Void,
    #[cfg_attr(not(feature = "small"), token("while"))]
    While,
    #[cfg_attr(not(feature = "small"), token("with"))]
    With,
    #[cfg_attr(not(feature = "small"), token("let"))]
    Let,
    #[cfg_attr(not(feature = "small"), token("static"))]
    Static,
    #[cfg_attr(not(feature = "small"), token("yield"))]
    Yield,
    #[cfg_attr(not(feature = "small"), token("implements"))]
    Implements,
    #[cfg_attr(not(feature = "small"), token("interface"))]
    Interface,
    #[cfg_attr(not(feature = "small"), token("package"))]
    Package,
    #[cfg_attr(not(feature = "small"), token("private"))]
    Private,
    #[cfg_attr(not(feature = "small"), token("protected"))]
    Protected,
    #[cfg_attr(not(feature = "small"), token("public"))]
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
