//! The reserved words as one text, where flash is scarce.
//!
//! It owns finding a word in it. The lexer generator makes a tree of jumps of the same
//! words, which is faster: the host has that. On a Cortex-M3 the lexer takes 8,902
//! bytes of code with it and 2,112 without, tables of bytes not counted. It refuses to
//! know where a word may stand.

use crate::token::Kind;

/// The words, each behind a blank, in the order of [`KINDS`].
const WORDS: &str = " \
    break case catch class const continue debugger default delete do else enum export \
    extends false finally for function if import in instanceof new null return super switch \
    this throw true try typeof var void while with let static yield implements interface \
    package private protected public ";

static KINDS: [Kind; 45] = [
    Kind::Break,
    Kind::Case,
    Kind::Catch,
    Kind::Class,
    Kind::Const,
    Kind::Continue,
    Kind::Debugger,
    Kind::Default,
    Kind::Delete,
    Kind::Do,
    Kind::Else,
    Kind::Enum,
    Kind::Export,
    Kind::Extends,
    Kind::False,
    Kind::Finally,
    Kind::For,
    Kind::Function,
    Kind::If,
    Kind::Import,
    Kind::In,
    Kind::InstanceOf,
    Kind::New,
    Kind::Null,
    Kind::Return,
    Kind::Super,
    Kind::Switch,
    Kind::This,
    Kind::Throw,
    Kind::True,
    Kind::Try,
    Kind::TypeOf,
    Kind::Var,
    Kind::Void,
    Kind::While,
    Kind::With,
    Kind::Let,
    Kind::Static,
    Kind::Yield,
    Kind::Implements,
    Kind::Interface,
    Kind::Package,
    Kind::Private,
    Kind::Protected,
    Kind::Public,
];

/// The reserved word of a text.
pub(crate) fn reserved(text: &str) -> Option<Kind> {
    let mut words = WORDS.as_bytes();
    for &kind in &KINDS {
        words = words.get(1..)?;
        let length = words.iter().position(|&byte| byte == b' ')?;
        let (word, rest) = words.split_at_checked(length)?;
        if word == text.as_bytes() {
            return Some(kind);
        }
        words = rest;
    }
    None
}

#[cfg(all(test, not(feature = "small")))]
mod tests {
    use logos::Logos;

    use super::*;

    #[test]
    fn every_word_is_what_the_generated_lexer_says() {
        let mut found = 0;
        for word in WORDS.split_whitespace() {
            let kind = Kind::lexer(word).next().unwrap().unwrap();
            assert!(kind.is_reserved_word(), "{word}");
            assert_eq!(reserved(word), Some(kind), "{word}");
            found += 1;
        }
        // They are the last rows of the table of tokens.
        assert_eq!(found, Kind::Public as usize - Kind::Break as usize + 1);
        for word in ["", " ", "brea", "breaks", "do else", "Class", "of"] {
            assert_eq!(reserved(word), None, "{word}");
        }
    }
}
