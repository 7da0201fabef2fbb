//! ADX files: `<ADX>` with a `<HEADER>` and `<RECORDS>` of `<RECORD>`, one element a field.
//!
//! Source: ADIF 3.1.6, chapter 'ADX File Format'. Fields hold text only, so a small part of XML is
//! enough: elements, attributes (skipped), comments, CDATA, the five entities of XML 1.0 and
//! numbered characters. A document type is skipped over, never followed.

use alloc::{string::String, vec::Vec};

use super::{
    log::Fault,
    record::{LONGEST, Lines, Record, Taker, short},
};

/// The first element is `ADX`, after declaration, comments and blanks.
pub(super) fn looks_like(text: &[u8]) -> bool {
    let mut walk = Walk { text, at: 0 };
    while let Some(token) = walk.next() {
        match token {
            Token::Open { name, .. } => return name.eq_ignore_ascii_case(b"ADX"),
            Token::Text(text) if text.iter().all(u8::is_ascii_whitespace) => {}
            Token::Aside => {}
            Token::Text(_) | Token::Close { .. } => return false,
        }
    }
    false
}

pub(super) fn read(text: &[u8], taker: &mut Taker) {
    let mut lines = Lines::new(text);
    let mut walk = Walk { text, at: 0 };
    let mut record: Option<Record> = None;
    let mut field: Option<(&[u8], Vec<u8>)> = None;
    let mut closed = false;
    loop {
        let from = walk.at;
        let Some(token) = walk.next() else { break };
        match token {
            Token::Open { name, empty } if name.eq_ignore_ascii_case(b"RECORD") => {
                if let Some(mut open) = record.take() {
                    open.fail(Fault::Unfinished);
                    if !taker.accept(open) {
                        return;
                    }
                }
                field = None;
                record = (!empty).then(|| Record::at(lines.at(from)));
            }
            Token::Close { name } if name.eq_ignore_ascii_case(b"RECORD") => {
                if let Some(done) = record.take()
                    && !taker.accept(done)
                {
                    return;
                }
                field = None;
            }
            Token::Open { name, empty } => {
                if let (Some(open), Some((inner, _))) = (&mut record, &field) {
                    open.fail(Fault::BadTag(short(inner)));
                }
                field = (record.is_some() && !empty).then(|| (name, Vec::new()));
            }
            Token::Text(part) => {
                if let Some((_, value)) = &mut field
                    && value.len() < 4 * LONGEST
                {
                    value.extend_from_slice(part.get(..8 * LONGEST).unwrap_or(part));
                }
            }
            Token::Close { name } => {
                closed |= name.eq_ignore_ascii_case(b"ADX");
                close(name, field.take(), record.as_mut());
            }
            Token::Aside => {}
        }
    }
    if let Some(mut open) = record {
        open.fail(Fault::Unfinished);
        taker.accept(open);
    }
    if !closed {
        taker.say(lines.at(text.len()), None, Fault::CutShort);
    }
}

/// The end of a field's element.
fn close(name: &[u8], field: Option<(&[u8], Vec<u8>)>, record: Option<&mut Record>) {
    let (Some(record), Some((opened, value))) = (record, field) else { return };
    if !opened.eq_ignore_ascii_case(name) {
        record.fail(Fault::BadTag(short(opened)));
    } else if let Ok(name) = core::str::from_utf8(name) {
        record.insert(name, plain(&value).as_bytes());
    }
}

/// A value with its entities put back. Text that is nothing of the kind stays as it is.
fn plain(value: &[u8]) -> String {
    let text = String::from_utf8_lossy(value);
    let mut out = String::new();
    let mut rest = &*text;
    while let Some((before, after)) = rest.split_once('&') {
        out.push_str(before);
        let known = after.split_once(';').and_then(|(name, rest)| Some((entity(name)?, rest)));
        rest = match known {
            Some((c, rest)) => {
                out.push(c);
                rest
            }
            None => {
                out.push('&');
                after
            }
        };
    }
    out.push_str(rest);
    out
}

/// XML 1.0, section 4.6 and 4.1.
fn entity(name: &str) -> Option<char> {
    match name {
        "lt" => Some('<'),
        "gt" => Some('>'),
        "amp" => Some('&'),
        "apos" => Some('\''),
        "quot" => Some('"'),
        _ => {
            let digits = name.strip_prefix('#')?;
            let code = match digits.strip_prefix('x') {
                Some(hex) => u32::from_str_radix(hex, 16),
                None => digits.parse(),
            };
            char::from_u32(code.ok()?)
        }
    }
}

enum Token<'a> {
    Open { name: &'a [u8], empty: bool },
    Close { name: &'a [u8] },
    Text(&'a [u8]),
    Aside,
}

struct Walk<'a> {
    text: &'a [u8],
    at: usize,
}

impl<'a> Walk<'a> {
    fn next(&mut self) -> Option<Token<'a>> {
        let rest = self.text.get(self.at..).filter(|rest| !rest.is_empty())?;
        if rest.first() != Some(&b'<') {
            let end = rest.iter().position(|byte| *byte == b'<').unwrap_or(rest.len());
            self.at += end;
            return Some(Token::Text(rest.get(..end)?));
        }
        for (opens, closes) in [(&b"<!--"[..], &b"-->"[..]), (b"<?", b"?>")] {
            if rest.starts_with(opens) {
                self.at += until(rest, opens.len(), closes)?;
                return Some(Token::Aside);
            }
        }
        if rest.starts_with(b"<![CDATA[") {
            let end = until(rest, 9, b"]]>")?;
            self.at += end;
            return Some(Token::Text(rest.get(9..end - 3)?));
        }
        if rest.starts_with(b"<!") {
            self.at += doctype(rest)?;
            return Some(Token::Aside);
        }
        let end = element(rest)?;
        self.at += end;
        Some(named(rest.get(1..end - 1)?))
    }
}

/// An element's inside as a token.
fn named(inside: &[u8]) -> Token<'_> {
    if let Some(name) = inside.strip_prefix(b"/") {
        return Token::Close { name: name.trim_ascii() };
    }
    let empty = inside.last() == Some(&b'/');
    let end = inside.iter().position(|b| b.is_ascii_whitespace() || *b == b'/');
    Token::Open { name: inside.get(..end.unwrap_or(inside.len())).unwrap_or_default(), empty }
}

/// Behind the mark that closes.
fn until(rest: &[u8], from: usize, closes: &[u8]) -> Option<usize> {
    let body = rest.get(from..)?;
    Some(from + body.windows(closes.len()).position(|part| part == closes)? + closes.len())
}

/// Behind the element that opens here; a `>` in a quoted attribute does not close it.
fn element(rest: &[u8]) -> Option<usize> {
    let mut quote = None;
    for (at, byte) in rest.iter().enumerate() {
        match (quote, byte) {
            (None, b'>') => return Some(at + 1),
            (None, b'"' | b'\'') => quote = Some(*byte),
            (Some(open), byte) if open == *byte => quote = None,
            _ => {}
        }
    }
    None
}

/// Behind a document type, with the declarations inside it.
fn doctype(rest: &[u8]) -> Option<usize> {
    let mut depth = 0_usize;
    for (at, byte) in rest.iter().enumerate() {
        match byte {
            b'<' => depth += 1,
            b'>' => {
                depth = depth.saturating_sub(1);
                if depth == 0 {
                    return Some(at + 1);
                }
            }
            _ => {}
        }
    }
    None
}
