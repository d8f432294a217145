//! Lines that fit a terminal.

/// Columns of a terminal.
pub(super) const WIDTH: usize = 80;

/// Marks that colour a word; empty where the output is not a terminal. Words carry the meaning, colour only repeats it.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Paint {
    /// Before a word that is good news.
    pub good: &'static str,
    /// Before a word that is bad news.
    pub bad: &'static str,
    /// Before a word that is neither.
    pub open: &'static str,
    /// After it.
    pub end: &'static str,
}

/// Adds `text`, wrapped to the terminal, after a label of `indent` columns; further lines are indented alike.
pub(crate) fn paragraph(out: &mut String, label: &str, indent: usize, text: &str) {
    let mut line = format!("{label:<indent$}");
    let mut empty = true;
    for word in text.split_whitespace() {
        let width = line.chars().count() + 1 + word.chars().count();
        if !empty && width > WIDTH {
            out.push_str(line.trim_end());
            out.push('\n');
            line = " ".repeat(indent);
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = false;
    }
    out.push_str(line.trim_end());
    out.push('\n');
}

/// A message wrapped to the terminal line by line; what a line starts with in blanks, its further lines start with too.
#[must_use]
pub fn message(text: &str) -> String {
    let mut out = String::new();
    for line in text.lines() {
        let indent = line.len() - line.trim_start().len();
        paragraph(&mut out, "", indent, line);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_message_keeps_its_lines_and_their_indents() {
        let text = format!("error: plan.toml, line 5: {}\n    volume = \"0\"", "much is wrong ".repeat(9));
        let wrapped = message(&text);
        assert!(wrapped.lines().count() == 3 && wrapped.lines().all(|line| line.chars().count() <= WIDTH), "{wrapped}");
        assert!(wrapped.ends_with("\n    volume = \"0\"\n"), "{wrapped}");
    }

    #[test]
    fn no_line_of_a_paragraph_is_wider_than_the_terminal() {
        let mut out = String::new();
        paragraph(&mut out, "  rows", 12, &"set aside because of something or other ".repeat(9));
        assert!(out.lines().count() > 2);
        assert!(out.lines().all(|line| line.chars().count() <= WIDTH && line.starts_with("  ")));
    }
}
