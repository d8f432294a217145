//! Numbers as loggers write them.

/// How the numbers of a file are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct NumberStyle {
    /// Decimal mark, `.` or `,`.
    pub(crate) decimal: u8,
    /// Thousands mark that the plan or the data show; blanks and apostrophes in groups of three always count.
    pub(crate) thousands: Option<u8>,
}

impl NumberStyle {
    /// Decimal point, no thousands mark.
    pub(crate) const POINT: Self = Self { decimal: b'.', thousands: None };
    /// Decimal comma, no thousands mark.
    pub(crate) const COMMA: Self = Self { decimal: b',', thousands: None };
}

/// The longest text taken for a number.
const LONGEST: usize = 64;

/// Read a number; `None` where the text is not one number in this style. Never infinite, never NaN.
///
/// Where the thousands mark is also the decimal mark (`151.203.000` beside `7.315`), the last mark of several is the
/// decimal mark and the groups before it have three digits.
pub(crate) fn parse(text: &[u8], style: NumberStyle) -> Option<f64> {
    if style.decimal == b'.'
        && style.thousands.is_none()
        && let Some(value) = plain(text)
    {
        return Some(value);
    }
    respelled(text, style)
}

fn plain(text: &[u8]) -> Option<f64> {
    // The parser knows words ("nan", "inf"); a number starts with a digit, a sign or a point.
    if !text.last()?.is_ascii_digit() && text.last() != Some(&b'.') {
        return None;
    }
    fast_float2::parse::<f64, _>(text).ok().filter(|value| value.is_finite())
}

/// The slow way: marks, typographic minus, blanks in groups.
fn respelled(text: &[u8], style: NumberStyle) -> Option<f64> {
    if text.is_empty() || text.len() > LONGEST || !text.iter().any(u8::is_ascii_digit) {
        return None;
    }
    let mut buffer = [0u8; LONGEST];
    let mut length = 0;
    let mut push = |byte| {
        buffer[length] = byte;
        length += 1;
    };
    let mut rest = text;
    if let Some(behind) = rest.strip_prefix("−".as_bytes()) {
        push(b'-');
        rest = behind;
    } else if let [sign @ (b'-' | b'+'), behind @ ..] = rest {
        if *sign == b'-' {
            push(b'-');
        }
        rest = crate::records::trim(behind);
    }
    let (whole, fraction) = split_at_decimal(rest, style);
    push_whole(whole, style, &mut push)?;
    if let Some(fraction) = fraction {
        push(b'.');
        for byte in fraction {
            match byte {
                b'0'..=b'9' | b'e' | b'E' | b'+' | b'-' => push(*byte),
                b'D' | b'd' => push(b'e'),
                _ => return None,
            }
        }
    }
    plain(&buffer[..length])
}

/// Whole part (without mark) and what follows the decimal mark.
fn split_at_decimal(text: &[u8], style: NumberStyle) -> (&[u8], Option<&[u8]>) {
    let at = if style.thousands == Some(style.decimal) {
        text.iter().rposition(|byte| *byte == style.decimal)
    } else {
        text.iter().position(|byte| *byte == style.decimal)
    };
    at.map_or((text, None), |at| (&text[..at], Some(&text[at + 1..])))
}

/// Digits, an exponent where there is no fraction, and thousands marks in valid groups of three.
fn push_whole(whole: &[u8], style: NumberStyle, push: &mut impl FnMut(u8)) -> Option<()> {
    let mut digits_since_mark = 0;
    let mut marked = false;
    let mut in_exponent = false;
    let mut rest = whole;
    while let Some(&byte) = rest.first() {
        let mark_length = thousands_mark(rest, style);
        if mark_length > 0 && !in_exponent {
            if digits_since_mark == 0 || digits_since_mark > 3 || (marked && digits_since_mark != 3) {
                return None;
            }
            marked = true;
            digits_since_mark = 0;
            rest = &rest[mark_length..];
            continue;
        }
        match byte {
            b'0'..=b'9' => {
                push(byte);
                digits_since_mark += 1;
            }
            b'e' | b'E' | b'd' | b'D' if !in_exponent && !marked && digits_since_mark > 0 => {
                push(b'e');
                in_exponent = true;
            }
            b'+' | b'-' if in_exponent => push(byte),
            _ => return None,
        }
        rest = &rest[1..];
    }
    (!marked || digits_since_mark == 3).then_some(())
}

fn thousands_mark(text: &[u8], style: NumberStyle) -> usize {
    match text {
        [first, ..] if Some(*first) == style.thousands => 1,
        [b' ' | b'\'', ..] => 1,
        [0xc2, 0xa0, ..] => 2,
        [0xe2, 0x80, 0xaf | 0x89 | 0x99, ..] => 3,
        _ => 0,
    }
}

/// The marks in a text that looks like a number: what the file's style is chosen from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Marks {
    /// No number, or no mark in it.
    None,
    /// One mark; whether what stands around it could be a thousands group (`1.234`, but not `0.234` or `1.23`).
    One { mark: u8, groups: bool },
    /// The same mark several times, in valid groups (`151.203.000`).
    Many { mark: u8 },
    /// Both marks, the last once (`1.234,5`).
    Both { thousands: u8, decimal: u8 },
}

/// Look at the marks of a cell.
pub(crate) fn marks(cell: &[u8]) -> Marks {
    let body = cell.strip_prefix(b"-").or(cell.strip_prefix(b"+")).unwrap_or(cell);
    let body = body.strip_prefix(b"<").or(body.strip_prefix(b">")).map_or(body, crate::records::trim);
    if body.is_empty()
        || body.len() > LONGEST
        || !body.iter().all(|b| b.is_ascii_digit() || matches!(b, b'.' | b',' | b'e' | b'E' | b'+' | b'-'))
    {
        return Marks::None;
    }
    let at: Vec<usize> = (0..body.len()).filter(|i| matches!(body[*i], b'.' | b',')).collect();
    let (Some(&first), Some(&last)) = (at.first(), at.last()) else { return Marks::None };
    let grouped = |marks: &[usize], end: usize| {
        (1..=3).contains(&marks[0])
            && body[0] != b'0'
            && marks.windows(2).all(|pair| pair[1] - pair[0] == 4)
            && end - marks[marks.len() - 1] == 4
    };
    if at.len() == 1 {
        return Marks::One { mark: body[first], groups: grouped(&at, body.len()) };
    }
    let same = at.iter().all(|i| body[*i] == body[first]);
    if same {
        return if grouped(&at, body.len()) { Marks::Many { mark: body[first] } } else { Marks::None };
    }
    let leading = &at[..at.len() - 1];
    if leading.iter().all(|i| body[*i] == body[first]) && body[last] != body[first] && grouped(leading, last) {
        return Marks::Both { thousands: body[first], decimal: body[last] };
    }
    Marks::None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str, style: NumberStyle) -> Option<f64> {
        parse(text.as_bytes(), style)
    }

    #[test]
    fn plain_numbers_are_read_in_either_style() {
        assert_eq!(read("-12.5", NumberStyle::POINT), Some(-12.5));
        assert_eq!(read("+12.5", NumberStyle::POINT), Some(12.5));
        assert_eq!(read("9.7933E+00", NumberStyle::POINT), Some(9.7933));
        assert_eq!(read(".5", NumberStyle::POINT), Some(0.5));
        assert_eq!(read("5.", NumberStyle::POINT), Some(5.0));
        assert_eq!(read("1e3", NumberStyle::POINT), Some(1000.0));
        assert_eq!(read("-12,5", NumberStyle::COMMA), Some(-12.5));
        assert_eq!(read("1,2E-3", NumberStyle::COMMA), Some(0.0012));
        assert_eq!(read("−3,5", NumberStyle::COMMA), Some(-3.5));
        assert_eq!(read("- 3.5", NumberStyle::POINT), Some(-3.5));
    }

    #[test]
    fn words_and_foreign_marks_are_no_numbers() {
        for text in ["", "nan", "inf", "-inf", "infinity", "12,5", "1.2.3", "12 ppm", "0x10", "--", "1e", "e5", "1e999"]
        {
            assert_eq!(read(text, NumberStyle::POINT), None, "{text}");
        }
        assert_eq!(read("12.5", NumberStyle::COMMA), None);
    }

    #[test]
    fn thousands_count_only_in_groups_of_three() {
        let german = NumberStyle { decimal: b',', thousands: Some(b'.') };
        assert_eq!(read("1.234,5", german), Some(1234.5));
        assert_eq!(read("101.325", german), Some(101_325.0));
        assert_eq!(read("12.34", german), None);
        assert_eq!(read("1234.567", german), None);
        assert_eq!(read("1 234 567", NumberStyle::POINT), Some(1_234_567.0));
        assert_eq!(read("101'325.5", NumberStyle::POINT), Some(101_325.5));
    }

    #[test]
    fn one_mark_may_serve_for_both_where_it_is_said_so() {
        let both = NumberStyle { decimal: b'.', thousands: Some(b'.') };
        assert_eq!(read("151.203.000", both), Some(151_203.0));
        assert_eq!(read("100.000", both), Some(100.0));
        assert_eq!(read("7.315", both), Some(7.315));
        assert_eq!(read("0.000", both), Some(0.0));
    }

    #[test]
    fn marks_tell_what_a_style_may_be() {
        assert_eq!(marks(b"151.203.000"), Marks::Many { mark: b'.' });
        assert_eq!(marks(b"0.000"), Marks::One { mark: b'.', groups: false });
        assert_eq!(marks(b"7.315"), Marks::One { mark: b'.', groups: true });
        assert_eq!(marks(b"1.234,5"), Marks::Both { thousands: b'.', decimal: b',' });
        assert_eq!(marks(b"04.05.2026"), Marks::None);
        assert_eq!(marks(b"12:30"), Marks::None);
    }
}
