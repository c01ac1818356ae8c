//! Tables that tools write into pages that people write: between a pair of markers, and
//! nowhere else.

use std::fmt;

/// Why a table has no place in a text: the marker that is missing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NoPlace(String);

impl fmt::Display for NoPlace {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "no marker {} to put a table behind", self.0)
    }
}

impl std::error::Error for NoPlace {}

/// A text with the table of a name replaced by this one.
pub fn spliced(text: &str, name: &str, table: &str) -> Result<String, NoPlace> {
    const END: &str = "<!-- end -->";
    let begin = format!("<!-- spliced: {name} -->\n");
    let (before, rest) = text.split_once(&begin).ok_or_else(|| NoPlace(begin.clone()))?;
    let (_, behind) = rest.split_once(END).ok_or_else(|| NoPlace(END.to_owned()))?;
    Ok(format!("{before}{begin}{table}\n{END}{behind}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_takes_the_place_of_the_one_of_its_name_alone() {
        let text =
            "a\n<!-- spliced: x -->\nold\n<!-- end -->\nb\n<!-- spliced: y -->\n<!-- end -->\n";
        let wanted = text.replace("old", "new");
        assert_eq!(spliced(text, "x", "new").as_deref(), Ok(wanted.as_str()));
        assert_eq!(spliced(&wanted, "x", "old").as_deref(), Ok(text));
        for (text, name) in [(text, "z"), ("<!-- spliced: x -->\n", "x")] {
            assert!(spliced(text, name, "new").is_err());
        }
    }
}
