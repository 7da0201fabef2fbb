//! An address as a QR code (ISO/IEC 18004) for a terminal: a character shows two modules, one above
//! the other, and the colours are said, so that a dark terminal shows no negative.

use std::{env, io::IsTerminal as _};

use qrcodegen::{QrCode, QrCodeEcc};

/// The light frame around it, modules: the standard's 'Quiet zone' is four.
const QUIET: i32 = 4;
/// Black on white, and back.
const INK: [&str; 2] = ["\x1b[0;30;47m", "\x1b[0m"];

/// Whether a person reads standard output on something that can draw.
pub(crate) fn shown_here() -> bool {
    std::io::stdout().is_terminal() && env::var_os("TERM").is_some_and(|it| it != "dumb")
}

/// The drawing, in lines. An address is 40 bytes or so: 33 or 37 columns and 17 or 19 lines, where a
/// terminal has 80 and 24. `None` if the text is longer than any code holds.
pub(crate) fn drawn(text: &str) -> Option<String> {
    let code = QrCode::encode_text(text, QrCodeEcc::Low).ok()?;
    let span = -QUIET..code.size() + QUIET;
    let mut drawing = String::new();
    for y in span.clone().step_by(2) {
        drawing.push_str(INK[0]);
        drawing.extend(span.clone().map(|x| {
            match (code.get_module(x, y), code.get_module(x, y + 1)) {
                (true, true) => '█',
                (true, false) => '▀',
                (false, true) => '▄',
                (false, false) => ' ',
            }
        }));
        drawing.push_str(INK[1]);
        drawing.push('\n');
    }
    Some(drawing)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The modules of a drawing, as a terminal shows them: true is dark.
    fn modules(drawing: &str) -> Vec<Vec<bool>> {
        let halves = |line: &str, dark: [char; 2]| {
            let line = line.strip_prefix(INK[0]).and_then(|it| it.strip_suffix(INK[1]));
            line.expect("its colours").chars().map(|it| dark.contains(&it)).collect()
        };
        drawing.lines().flat_map(|it| [halves(it, ['█', '▀']), halves(it, ['█', '▄'])]).collect()
    }

    /// What somebody else's decoder reads off it, a module 4 pixels wide.
    fn read(drawing: &str) -> String {
        let modules = modules(drawing);
        let (width, height) = (modules[0].len() * 4, modules.len() * 4);
        let light = |x: usize, y: usize| if modules[y / 4][x / 4] { 0 } else { 255 };
        let mut image = rqrr::PreparedImage::prepare_from_greyscale(width, height, light);
        let grids = image.detect_grids();
        let [grid] = &grids[..] else { panic!("{} codes found", grids.len()) };
        grid.decode().expect("it can be read").1
    }

    #[test]
    fn another_program_reads_the_address_off_the_terminal() {
        for text in [
            "http://10.42.0.1/",
            "http://192.168.100.100:8073/",
            "http://192.168.100.100:8073/pair?code=004711000815",
            "http://[2001:db8:1234:5678:9abc:def0:1234:5678]:8073/pair?code=004711000815",
        ] {
            assert_eq!(read(&drawn(text).unwrap()), text);
        }
        assert_ne!(read(&drawn("http://10.42.0.1/").unwrap()), "http://10.42.0.2/");
    }

    #[test]
    fn it_fits_a_terminal_of_24_lines_with_its_quiet_zone() {
        let drawing = drawn("http://192.168.100.100:8073/pair?code=004711000815").unwrap();
        let modules = modules(&drawing);
        assert!(drawing.lines().count() <= 20, "{drawing}");
        assert!(modules.iter().all(|row| row.len() == modules[0].len() && row.len() <= 40));
        let dark = |it: &[Vec<bool>]| it.iter().flatten().any(|dark| *dark);
        let (rows, wide) = (modules.len(), modules[0].len());
        assert!(!dark(&modules[..4]) && !dark(&modules[rows - 4..]), "above and below");
        assert!(
            modules.iter().all(|row| !row[..4].contains(&true) && !row[wide - 4..].contains(&true))
        );
        // The finder patterns begin right after it (the standard's 'Finder pattern').
        assert!(modules[4][4..11].iter().all(|dark| *dark));
        assert_eq!(drawn(&"x".repeat(3000)), None);
    }
}
