//! Contrast by the formula of the standard, from the style sheet's own colours.

use std::{collections::HashMap, sync::LazyLock};

/// The style sheet without the spaces that are there for people.
static STYLE: LazyLock<String> = LazyLock::new(|| {
    let mut text = include_str!("../../assets/style.css").replace(['\n', '\r'], "");
    while text.contains("  ") {
        text = text.replace("  ", " ");
    }
    for sign in [":", ",", "{", "}", ";"] {
        text = text.replace(&format!(" {sign}"), sign).replace(&format!("{sign} "), sign);
    }
    text
});

/// Relative luminance of `#rgb` or `#rrggbb`: W3C WCAG 2.2, definition 'relative luminance'.
fn luminance(colour: &str) -> f64 {
    let digits = colour.trim().strip_prefix('#').unwrap();
    let pair = |ix: usize| {
        let text = match digits.len() {
            3 => digits[ix..=ix].repeat(2),
            _ => digits[2 * ix..2 * ix + 2].to_owned(),
        };
        let part = f64::from(u8::from_str_radix(&text, 16).unwrap()) / 255.0;
        if part <= 0.04045 { part / 12.92 } else { ((part + 0.055) / 1.055).powf(2.4) }
    };
    0.2126 * pair(0) + 0.7152 * pair(1) + 0.0722 * pair(2)
}

/// WCAG 2.2, definition 'contrast ratio'.
fn contrast(one: &str, other: &str) -> f64 {
    let (a, b) = (luminance(one), luminance(other));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

/// The custom properties of the rule that begins with this selector.
fn colours(selector: &str) -> HashMap<&'static str, &'static str> {
    let start = STYLE.find(selector).unwrap_or_else(|| panic!("no rule {selector}"));
    let rule = STYLE[start..].split_once('{').unwrap().1.split('}').next().unwrap();
    rule.split(';').filter_map(|line| line.trim().strip_prefix("--")?.split_once(':')).collect()
}

#[test]
fn the_formula_is_the_standards() {
    // WCAG 2.2: black on white is 21:1; #767676 on white is the well-known edge of 4.5:1
    // (from memory: 4.54).
    assert!((contrast("#000", "#fff") - 21.0).abs() < 1e-9);
    assert!((contrast("#767676", "#ffffff") - 4.54).abs() < 0.01);
}

#[test]
fn text_can_be_read_in_every_look() {
    // SC 1.4.6 (7:1) for paper and dusk, SC 1.4.3 (4.5:1) for red on black.
    for (selector, least) in [
        (":root,:root[data-look=paper]", 7.0),
        ("@media (prefers-color-scheme:dark){:root", 7.0),
        (":root[data-look=dusk]", 7.0),
        (":root[data-look=night]", 4.5),
    ] {
        let selector = selector.rsplit_once("dark){").map_or(selector, |_| selector);
        let of = if selector.starts_with('@') {
            let start = STYLE.find("(prefers-color-scheme:dark)").unwrap();
            let rule = STYLE[start..].split('{').nth(2).unwrap().split('}').next().unwrap();
            rule.split(';')
                .filter_map(|line| line.trim().strip_prefix("--")?.split_once(':'))
                .collect()
        } else {
            colours(selector)
        };
        for ground in ["ground", "card"] {
            for text in ["ink", "soft"] {
                let ratio = contrast(of[text], of[ground]);
                assert!(ratio >= least, "{selector}: {text} on {ground} is {ratio:.2}:1");
            }
        }
        // SC 1.4.11: what is drawn to be understood has 3:1 against its ground.
        for drawn in ["mark", "line", "peak"] {
            let ratio = contrast(of[drawn], of["ground"]);
            assert!(ratio >= 3.0, "{selector}: {drawn} is {ratio:.2}:1");
        }
        // The mean is drawn over the band from smallest to largest.
        let ratio = contrast(of["ink"], of["ahead"]);
        assert!(ratio >= 3.0, "{selector}: ink on ahead is {ratio:.2}:1");
    }
}

#[test]
fn the_night_look_has_heavier_letters_and_no_blue() {
    let weight = |selector, name| colours(selector)[name].parse::<u32>().unwrap();
    for name in ["w", "b"] {
        assert!(
            weight(":root[data-look=night]", name) > weight(":root,:root[data-look=paper]", name)
        );
    }
    for (name, colour) in colours(":root[data-look=night]") {
        let Some(digits) = colour.strip_prefix('#').filter(|digits| digits.len() == 6) else {
            continue;
        };
        let part = |ix: usize| u8::from_str_radix(&digits[ix..ix + 2], 16).unwrap();
        assert!(part(2) < 0x40 && part(4) < 0x40, "--{name} {colour} is more than red");
    }
}

#[test]
fn what_is_tapped_is_large_enough() {
    // WCAG 2.2 SC 2.5.5 (AAA): 44 by 44 CSS pixels; 1rem is 16 of them.
    for rule in [
        "button,input,select,.button,summary{",
        "nav a{",
        ".tap{",
        ".item h2 a{",
        ".choice{",
        ".answers button{",
    ] {
        let (_, text) = STYLE.split_once(rule).unwrap_or_else(|| panic!("no rule {rule}"));
        let height = text.split_once("min-height:").unwrap().1.split("rem").next().unwrap();
        assert!(height.parse::<f64>().unwrap() * 16.0 >= 44.0, "{rule} {height}rem");
    }
    assert!(STYLE.contains(":focus-visible{outline:3px solid"), "SC 2.4.7: focus can be seen");
}
