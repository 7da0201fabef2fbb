//! The parts of a form with a file: `multipart/form-data` (RFC 7578) over RFC 2046 section 5.1, of a
//! body that is held whole.

/// A form here has no more fields.
const MOST_PARTS: usize = 8;

/// The boundary that the content type names (RFC 2046 section 5.1.1: up to 70 characters).
pub(crate) fn boundary(content_type: &str) -> Option<&str> {
    let (kind, parameters) = content_type.split_once([';', ','])?;
    if !kind.trim().eq_ignore_ascii_case("multipart/form-data") {
        return None;
    }
    parameter(parameters, "boundary").filter(|text| (1..=70).contains(&text.len()))
}

/// Name and content of each part; `None` if the body is not what it says.
pub(crate) fn parts<'a>(body: &'a [u8], boundary: &str) -> Option<Vec<(&'a str, &'a [u8])>> {
    // The first delimiter may stand at the very beginning, without the line break that belongs to it.
    let delimiter = format!("\r\n--{boundary}");
    let delimiter = delimiter.as_bytes();
    let mut rest = match body.strip_prefix(&delimiter[2..]) {
        Some(rest) => rest,
        None => split(body, delimiter)?.1,
    };
    let mut all = Vec::new();
    loop {
        if rest.starts_with(b"--") {
            return Some(all);
        }
        // What follows the delimiter on its line is padding.
        let (padding, after) = split(rest, b"\r\n")?;
        if !padding.iter().all(u8::is_ascii_whitespace) || all.len() == MOST_PARTS {
            return None;
        }
        // Without any header the empty line follows at once.
        let (head, content) = match after.strip_prefix(b"\r\n") {
            Some(content) => (&b""[..], content),
            None => split(after, b"\r\n\r\n")?,
        };
        let (content, next) = split(content, delimiter)?;
        if let Some(name) = name(head) {
            all.push((name, content));
        }
        rest = next;
    }
}

/// The field's name: RFC 7578 section 4.2.
fn name(head: &[u8]) -> Option<&str> {
    let head = std::str::from_utf8(head).ok()?;
    let (_, value) = head
        .split("\r\n")
        .filter_map(|line| line.split_once(':'))
        .find(|(name, _)| name.trim().eq_ignore_ascii_case("content-disposition"))?;
    let (kind, parameters) = value.split_once(';')?;
    if !kind.trim().eq_ignore_ascii_case("form-data") {
        return None;
    }
    parameter(parameters, "name")
}

/// `wanted` of `a=1; b="2"`. Browsers write a quote inside a name as `%22` (HTML standard,
/// 'multipart form data'), so that quoted text ends at the next quote.
fn parameter<'a>(mut text: &'a str, wanted: &str) -> Option<&'a str> {
    loop {
        let (key, after) = text.split_once('=')?;
        let (value, rest) = match after.strip_prefix('"') {
            Some(quoted) => quoted.split_once('"')?,
            None => after.split_once(';').unwrap_or((after, "")),
        };
        if key.trim().trim_start_matches(';').trim().eq_ignore_ascii_case(wanted) {
            return Some(value.trim());
        }
        text = rest;
    }
}

fn split<'a>(text: &'a [u8], at: &[u8]) -> Option<(&'a [u8], &'a [u8])> {
    let place = text.windows(at.len()).position(|window| window == at)?;
    Some((&text[..place], &text[place + at.len()..]))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn the_example_of_rfc_1867() {
        // RFC 1867, section 6 'Examples', the first one; the name in it replaced.
        let kind = "multipart/form-data, boundary=AaB03x";
        let body = "--AaB03x\r\ncontent-disposition: form-data; name=\"field1\"\r\n\r\nHeron\r\n\
             --AaB03x\r\ncontent-disposition: form-data; name=\"pics\"; filename=\"file1.txt\"\r\n\
             Content-Type: text/plain\r\n\r\n ... contents of file1.txt ...\r\n--AaB03x--\r\n";
        let found = parts(body.as_bytes(), boundary(kind).unwrap()).unwrap();
        assert_eq!(
            found,
            [("field1", &b"Heron"[..]), ("pics", &b" ... contents of file1.txt ..."[..])]
        );
    }

    #[test]
    fn the_example_of_rfc_2046() {
        // RFC 2046, section 5.1.1: preamble and epilogue, a part without headers, one that ends in
        // a line break. It is multipart/mixed; its parts carry no names.
        let body = "This is the preamble.  It is to be ignored, though it\r\n\
             is a handy place for composition agents to include an\r\n\
             explanatory note to non-MIME conformant readers.\r\n\r\n--simple-boundary\r\n\r\n\
             This is implicitly typed plain US-ASCII text.\r\n\
             It does NOT end with a linebreak.\r\n--simple-boundary\r\n\
             Content-type: text/plain; charset=us-ascii\r\n\r\n\
             This is explicitly typed plain US-ASCII text.\r\n\
             It DOES end with a linebreak.\r\n\r\n--simple-boundary--\r\n\r\n\
             This is the epilogue.  It is also to be ignored.\r\n";
        assert_eq!(parts(body.as_bytes(), "simple-boundary"), Some(vec![]));
        let named = body.replace(
            "Content-type: text/plain",
            "Content-Disposition: form-data; filename=\"a;name=b\"; name=file\r\nX: y",
        );
        let text =
            "This is explicitly typed plain US-ASCII text.\r\nIt DOES end with a linebreak.\r\n";
        let found = parts(named.as_bytes(), "simple-boundary");
        assert_eq!(found, Some(vec![("file", text.as_bytes())]));
    }

    #[test]
    fn what_is_cut_or_no_form_is_refused() {
        let body = b"--b\r\nContent-Disposition: form-data; name=\"a\"\r\n\r\n1\r\n--b--";
        assert_eq!(parts(body, "b"), Some(vec![("a", &b"1"[..])]));
        for end in 0..body.len() - 2 {
            assert_eq!(parts(&body[..end], "b"), None, "cut at {end}");
        }
        let one = "--b\r\nContent-Disposition: form-data; name=\"a\"\r\n\r\n1\r\n";
        assert_eq!(parts(format!("{}--b--", one.repeat(9)).as_bytes(), "b"), None, "nine fields");
        for kind in ["text/plain", "multipart/form-data", "multipart/form-data; boundary=\"\""] {
            assert_eq!(boundary(kind), None, "{kind}");
        }
        let quoted = "multipart/form-data; charset=utf-8; boundary=\"gc0pJq0M:08jU534c0p\"";
        assert_eq!(boundary(quoted), Some("gc0pJq0M:08jU534c0p"), "RFC 2046 section 5.1.1");
    }

    proptest! {
        #[test]
        fn no_body_is_a_panic(body in proptest::collection::vec(any::<u8>(), 0..300), text in ".{0,60}") {
            let _ = parts(&body, "b");
            let _ = boundary(&text);
            let _ = boundary(&format!("multipart/form-data;{text}"));
            let _ = parts(format!("--b\r\n{text}\r\n\r\n{text}\r\n--b--").as_bytes(), "b");
        }
    }
}
