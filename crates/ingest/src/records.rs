//! Records and fields of a delimited text, with physical line numbers.
//!
//! Own code rather than a CSV library because of three things an export needs: an unclosed quote must not swallow
//! the rest of the file, line numbers must be those of an editor whatever ends the lines, and blank runs separate
//! fields as well as a character does. See the pitfalls in `notebooks-free-docs/formats`.

use memchr::{memchr, memchr_iter, memchr2, memchr2_iter};

/// What separates fields.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Delimiter {
    /// One ASCII character.
    Char(u8),
    /// Runs of blanks and tabs.
    Blanks,
}

/// How a text is cut into records and fields.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Splitter {
    pub(crate) delimiter: Delimiter,
    /// Whether a carriage return alone ends a line.
    pub(crate) bare_cr: bool,
    /// Fields a usual record has; a quoted field that would run over a whole such record is no quoted field.
    pub(crate) usual_fields: usize,
}

/// A record: its first physical line (the first line of the text is `first_line`) and its fields, blanks and outer
/// quotes removed.
#[derive(Debug, Clone, Default)]
pub(crate) struct Record<'a> {
    pub(crate) line: u64,
    pub(crate) fields: Vec<&'a [u8]>,
    /// A quote opened and never closed; the record is then the one line it stands in.
    pub(crate) unclosed: bool,
}

impl Record<'_> {
    pub(crate) fn is_blank(&self) -> bool {
        self.fields.iter().all(|field| field.is_empty())
    }

    pub(crate) fn field(&self, index: usize) -> &[u8] {
        self.fields.get(index).copied().unwrap_or_default()
    }
}

/// Whether lines end in a carriage return alone.
pub(crate) fn has_bare_cr(text: &[u8]) -> bool {
    memchr_iter(b'\r', text).any(|at| text.get(at + 1) != Some(&b'\n'))
}

/// Iterates over the records of a text.
pub(crate) struct Records<'a> {
    text: &'a [u8],
    at: usize,
    line: u64,
    splitter: Splitter,
}

impl<'a> Records<'a> {
    pub(crate) fn new(text: &'a [u8], first_line: u64, splitter: Splitter) -> Self {
        Self { text, at: 0, line: first_line, splitter }
    }

    /// Byte offset of the next record.
    pub(crate) fn offset(&self) -> usize {
        self.at
    }

    /// Line of the next record.
    pub(crate) fn next_line(&self) -> u64 {
        self.line
    }

    /// Go to the start of the next line that is not blank.
    pub(crate) fn skip_blank_lines(&mut self) {
        while self.at < self.text.len() {
            let end = self.line_end(self.at);
            if !is_blank(&self.text[self.at..end]) {
                return;
            }
            self.step_over(end);
        }
    }

    /// The next record that is not a blank line. `record` is reused to spare allocations.
    pub(crate) fn read(&mut self, record: &mut Record<'a>) -> bool {
        while self.at < self.text.len() {
            let end = self.line_end(self.at);
            let line = &self.text[self.at..end];
            if is_blank(line) {
                self.step_over(end);
                continue;
            }
            record.line = self.line;
            record.fields.clear();
            record.unclosed = false;
            if memchr(b'"', line).is_none() {
                split_plain(line, self.splitter.delimiter, &mut record.fields);
                self.step_over(end);
            } else {
                self.read_quoted(end, record);
            }
            return true;
        }
        false
    }

    fn line_end(&self, from: usize) -> usize {
        let rest = &self.text[from..];
        let found = if self.splitter.bare_cr { memchr2(b'\r', b'\n', rest) } else { memchr(b'\n', rest) };
        let end = found.map_or(self.text.len(), |at| from + at);
        if !self.splitter.bare_cr && end > from && self.text[end - 1] == b'\r' { end - 1 } else { end }
    }

    /// Go behind the line end that starts at `end`.
    fn step_over(&mut self, end: usize) {
        self.at = match (self.text.get(end), self.text.get(end + 1)) {
            (Some(b'\r'), Some(b'\n')) => end + 2,
            (Some(_), _) => end + 1,
            (None, _) => end,
        };
        self.line += 1;
    }

    fn read_quoted(&mut self, first_end: usize, record: &mut Record<'a>) {
        let mut at = self.at;
        let mut end = first_end;
        let mut extra_lines = 0;
        loop {
            at = skip_blanks(self.text, at, end, self.splitter.delimiter);
            if at >= end && self.splitter.delimiter == Delimiter::Blanks {
                break;
            }
            if self.text.get(at) == Some(&b'"') && at < end {
                match self.closing_quote(at, end) {
                    Some((close, new_end, lines)) => {
                        record.fields.push(&self.text[at + 1..close]);
                        end = new_end;
                        extra_lines += lines;
                        at = skip_blanks(self.text, close + 1, end, self.splitter.delimiter);
                        if at >= end {
                            break;
                        }
                        at = self.behind_delimiter(at, end);
                        continue;
                    }
                    None => record.unclosed = true,
                }
            }
            let stop = self.next_delimiter(at, end);
            record.fields.push(trim(&self.text[at..stop]));
            if stop >= end {
                break;
            }
            at = self.behind_delimiter(stop, end);
        }
        self.step_over(end);
        self.line += extra_lines;
    }

    fn next_delimiter(&self, at: usize, end: usize) -> usize {
        let rest = &self.text[at..end];
        let found = match self.splitter.delimiter {
            Delimiter::Char(delimiter) => memchr(delimiter, rest),
            Delimiter::Blanks => memchr2(b' ', b'\t', rest),
        };
        found.map_or(end, |found| at + found)
    }

    fn behind_delimiter(&self, at: usize, end: usize) -> usize {
        match self.splitter.delimiter {
            Delimiter::Char(_) => at + 1,
            Delimiter::Blanks => skip_blanks(self.text, at, end, Delimiter::Blanks),
        }
    }

    /// The closing quote of the field that opens at `open`: its offset, the end of the line it stands in, and how
    /// many line ends lie between. `None` where it never closes, closes before text, or would swallow whole records.
    fn closing_quote(&self, open: usize, first_end: usize) -> Option<(usize, usize, u64)> {
        const MOST_LINES: u64 = 200;
        let mut end = first_end;
        let mut lines = 0;
        let mut at = open + 1;
        loop {
            let Some(close) = memchr(b'"', &self.text[at..end]).map(|found| at + found) else {
                if end >= self.text.len() || lines == MOST_LINES {
                    return None;
                }
                at = match (self.text[end], self.text.get(end + 1)) {
                    (b'\r', Some(b'\n')) => end + 2,
                    _ => end + 1,
                };
                end = self.line_end(at);
                lines += 1;
                if memchr(b'"', &self.text[at..end]).is_none() && self.is_whole_record(&self.text[at..end]) {
                    return None;
                }
                continue;
            };
            if self.text.get(close + 1) == Some(&b'"') && close + 1 < end {
                at = close + 2;
                continue;
            }
            let next = skip_blanks(self.text, close + 1, end, self.splitter.delimiter);
            let closes = next >= end
                || match self.splitter.delimiter {
                    Delimiter::Char(delimiter) => self.text[next] == delimiter,
                    Delimiter::Blanks => next > close + 1,
                };
            return closes.then_some((close, end, lines));
        }
    }

    fn is_whole_record(&self, line: &[u8]) -> bool {
        let Delimiter::Char(delimiter) = self.splitter.delimiter else { return true };
        let delimiters = memchr_iter(delimiter, line).count();
        delimiters > 0 && delimiters + 1 >= self.splitter.usual_fields
    }
}

/// Cut a line without quotes into fields.
pub(crate) fn split_plain<'a>(line: &'a [u8], delimiter: Delimiter, fields: &mut Vec<&'a [u8]>) {
    match delimiter {
        Delimiter::Char(delimiter) => {
            let mut start = 0;
            for at in memchr_iter(delimiter, line) {
                fields.push(trim(&line[start..at]));
                start = at + 1;
            }
            fields.push(trim(&line[start..]));
        }
        Delimiter::Blanks => {
            let mut start = 0;
            for at in memchr2_iter(b' ', b'\t', line) {
                if at > start {
                    fields.push(&line[start..at]);
                }
                start = at + 1;
            }
            if start < line.len() {
                fields.push(trim(&line[start..]));
            }
        }
    }
}

fn skip_blanks(text: &[u8], mut at: usize, end: usize, delimiter: Delimiter) -> usize {
    while at < end && (text[at] == b' ' || text[at] == b'\t') && delimiter != Delimiter::Char(text[at]) {
        at += 1;
    }
    at
}

pub(crate) fn is_blank(line: &[u8]) -> bool {
    line.iter().all(u8::is_ascii_whitespace)
}

/// Without blanks at either end; a no-break space counts as one.
pub(crate) fn trim(mut field: &[u8]) -> &[u8] {
    while let [b' ' | b'\t' | b'\r', rest @ ..] | [0xc2, 0xa0, rest @ ..] = field {
        field = rest;
    }
    loop {
        match field {
            [rest @ .., b' ' | b'\t' | b'\r'] | [rest @ .., 0xc2, 0xa0] => field = rest,
            _ => return field,
        }
    }
}

/// A field as text for people: doubled quotes single, line breaks as blanks.
pub(crate) fn text_of(field: &[u8]) -> String {
    let text = String::from_utf8_lossy(field).replace("\"\"", "\"");
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
