//! From the bytes of a file to UTF-8 text: compression, byte-order marks, encodings, and what is no text at all.

use std::borrow::Cow;
use std::io::Read;

use encoding_rs::{Encoding, UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1252};
use flate2::read::MultiGzDecoder;

use crate::error::ReadError;
use crate::recording::Choice;

const GZIP: &[u8] = &[0x1f, 0x8b];
const ZIP: &[u8] = b"PK\x03\x04";
const COMPOUND: &[u8] = &[0xd0, 0xcf, 0x11, 0xe0, 0xa1, 0xb1, 0x1a, 0xe1];
/// Bytes looked at to tell text from anything else.
const SAMPLE: usize = 8192;

/// What a file holds.
pub(crate) enum Content<'a> {
    /// Text in UTF-8 without byte-order mark.
    Text(Cow<'a, str>),
    /// A workbook, by its signature.
    Workbook(Cow<'a, [u8]>),
}

/// Unpack and decode; `encoding` is the plan's.
pub(crate) fn decode<'a>(
    file: &str,
    bytes: &'a [u8],
    encoding: Option<&str>,
    choices: &mut Vec<Choice>,
) -> Result<Content<'a>, ReadError> {
    let bytes = unpack(file, bytes, choices)?;
    if bytes.starts_with(ZIP) || bytes.starts_with(COMPOUND) {
        return Ok(Content::Workbook(bytes));
    }
    let (encoding, because) = choose_encoding(file, &bytes, encoding)?;
    let text = to_utf8(bytes, encoding);
    refuse_binary(file, text.as_bytes())?;
    if text.trim().is_empty() {
        return Err(ReadError::Empty { file: file.into() });
    }
    choices.push(Choice::new("encoding", encoding.name(), because));
    Ok(Content::Text(text))
}

fn unpack<'a>(file: &str, bytes: &'a [u8], choices: &mut Vec<Choice>) -> Result<Cow<'a, [u8]>, ReadError> {
    if !bytes.starts_with(GZIP) {
        return Ok(Cow::Borrowed(bytes));
    }
    let mut unpacked = Vec::new();
    MultiGzDecoder::new(bytes)
        .read_to_end(&mut unpacked)
        .map_err(|source| ReadError::Gzip { file: file.into(), source })?;
    choices.push(Choice::new("compression", "gzip", "the file starts with the gzip signature"));
    Ok(Cow::Owned(unpacked))
}

fn choose_encoding(
    file: &str,
    bytes: &[u8],
    wanted: Option<&str>,
) -> Result<(&'static Encoding, &'static str), ReadError> {
    if let Some(name) = wanted {
        let encoding = Encoding::for_label(name.trim().as_bytes())
            .ok_or_else(|| ReadError::UnknownEncoding { file: file.into(), name: name.into() })?;
        return Ok((encoding, "the plan says so"));
    }
    if let Some((encoding, _)) = Encoding::for_bom(bytes) {
        return Ok((encoding, "of its byte-order mark"));
    }
    if let Some(encoding) = utf16_without_mark(bytes) {
        return Ok((encoding, "every other byte is zero"));
    }
    if std::str::from_utf8(bytes).is_ok() {
        return Ok((UTF_8, "every byte is valid UTF-8"));
    }
    if mostly_utf8(bytes) {
        return Ok((UTF_8, "all but a few bytes are valid UTF-8"));
    }
    Ok((WINDOWS_1252, "the bytes are no UTF-8"))
}

/// UTF-16 of mostly Western text has a zero in every other byte.
fn utf16_without_mark(bytes: &[u8]) -> Option<&'static Encoding> {
    let sample = &bytes[..bytes.len().min(SAMPLE) & !1];
    let zeros = |offset: usize| sample.iter().skip(offset).step_by(2).filter(|byte| **byte == 0).count();
    let pairs = sample.len() / 2;
    let (even, odd) = (zeros(0), zeros(1));
    if pairs >= 4 && odd * 10 >= pairs * 8 && even * 10 <= pairs {
        Some(UTF_16LE)
    } else if pairs >= 4 && even * 10 >= pairs * 8 && odd * 10 <= pairs {
        Some(UTF_16BE)
    } else {
        None
    }
}

/// A damaged UTF-8 file has multi-byte characters that are right beside a few that are not.
fn mostly_utf8(bytes: &[u8]) -> bool {
    let (mut good, mut bad) = (0usize, 0usize);
    for chunk in bytes.utf8_chunks() {
        good += chunk.valid().chars().filter(|c| !c.is_ascii()).count();
        bad += usize::from(!chunk.invalid().is_empty());
    }
    good > 10 * bad
}

fn to_utf8<'a>(bytes: Cow<'a, [u8]>, encoding: &'static Encoding) -> Cow<'a, str> {
    match bytes {
        Cow::Borrowed(bytes) => encoding.decode(bytes).0,
        Cow::Owned(bytes) => Cow::Owned(encoding.decode(&bytes).0.into_owned()),
    }
}

/// More than a few control characters in the first bytes is no text export. Zeros further down (a logger that lost
/// power) stay: their rows are set aside.
fn refuse_binary(file: &str, text: &[u8]) -> Result<(), ReadError> {
    let sample = &text[..text.len().min(SAMPLE)];
    let is_control = |byte: &u8| {
        *byte < 0x20 && !matches!(byte, b'\t' | b'\n' | b'\r' | 0x0b | 0x0c | 0x1a | 0x1b | 0x1e | 0x1f)
            || *byte == 0x7f
    };
    // Text that starts well and then holds zeros is a log that lost power.
    let starts_well = sample.iter().take(64).all(|byte| !is_control(byte)) && sample.len() >= 64;
    let controls = sample.iter().filter(|byte| is_control(byte) && !(starts_well && **byte == 0)).count();
    if text.starts_with(b"%PDF") || controls * 50 > sample.len() {
        let offset = sample.iter().position(is_control).unwrap_or(0);
        return Err(ReadError::Binary { file: file.into(), offset });
    }
    Ok(())
}
