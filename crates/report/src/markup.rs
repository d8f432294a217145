//! Text of others on its way into HTML and SVG.

/// Text for HTML and SVG: markup escaped, and control characters, which XML forbids, made visible as `�`.
pub(crate) fn escape(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => escaped.push_str("&amp;"),
            '<' => escaped.push_str("&lt;"),
            '>' => escaped.push_str("&gt;"),
            '"' => escaped.push_str("&quot;"),
            '\'' => escaped.push_str("&#39;"),
            other => escaped.push(printable(other)),
        }
    }
    escaped
}

/// The text without control characters other than line breaks and tabs.
pub(crate) fn clean(text: &str) -> String {
    text.chars().map(printable).collect()
}

/// At most `most` letters, the middle left out where there are more: names of sensors differ at their ends.
pub(crate) fn shortened(text: &str, most: usize) -> String {
    let letters: Vec<char> = text.chars().map(printable).collect();
    if letters.len() <= most {
        return letters.into_iter().collect();
    }
    let head = most * 2 / 3;
    let tail = most.saturating_sub(head + 1);
    letters[..head].iter().chain(['…'].iter()).chain(&letters[letters.len() - tail..]).collect()
}

fn printable(letter: char) -> char {
    let allowed = matches!(letter, '\n' | '\t') || !(letter.is_control() || matches!(letter, '\u{fffe}' | '\u{ffff}'));
    if allowed { letter } else { '\u{fffd}' }
}

/// A text that a spreadsheet might take for a formula, with an apostrophe in front.
pub(crate) fn harmless(text: String) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) { format!("'{text}") } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn markup_and_control_characters_do_not_reach_the_page() {
        assert_eq!(escape("<b a='1'>\"&\u{0}"), "&lt;b a=&#39;1&#39;&gt;&quot;&amp;\u{fffd}");
    }

    #[test]
    fn long_names_keep_both_ends() {
        assert_eq!(shortened("Temperature sensor, rear wall", 12), "Temperat…all");
        assert_eq!(shortened("short", 12), "short");
    }
}
