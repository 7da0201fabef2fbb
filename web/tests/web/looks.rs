//! Contrast by the formula of the standard, from the style sheet's own colours.

use std::{collections::HashMap, sync::LazyLock};

/// Both style sheets without the spaces that are there for people.
static STYLE: LazyLock<String> = LazyLock::new(|| {
    let mut text =
        concat!(include_str!("../../assets/style.css"), include_str!("../../assets/more.css"))
            .replace(['\n', '\r'], "");
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

type Colours = HashMap<&'static str, &'static str>;

/// The custom properties of the rule whose selectors end with this one, and those it stands upon.
fn colours(selector: &str) -> Colours {
    let (_, rule) =
        STYLE.split_once(&format!("{selector}{{")).unwrap_or_else(|| panic!("no rule {selector}"));
    let rule = rule.split('}').next().unwrap();
    let mut of = if selector == DIMMEST { colours(NIGHT) } else { Colours::new() };
    of.extend(rule.split(';').filter_map(|line| line.trim().strip_prefix("--")?.split_once(':')));
    of
}

const PAPER: &str = ":root,:root[data-look=paper]";
const DARK_PHONE: &str = "(prefers-color-scheme:dark){:root";
const DUSK: &str = ":root[data-look=dusk]";
const NIGHT: &str = ":root[data-look=night]";
const DIMMEST: &str = ":root[data-look=night][data-dim]";
const LOOKS: [&str; 5] = [PAPER, DARK_PHONE, DUSK, NIGHT, DIMMEST];

/// Fails unless this colour has at least this contrast against that one.
fn at_least(selector: &str, one: &str, other: &str, least: f64) {
    let of = colours(selector);
    let ratio = contrast(of[one], of[other]);
    assert!(ratio >= least, "{selector}: {one} on {other} is {ratio:.2}:1, wants {least}");
}

#[test]
fn the_formula_is_the_standards() {
    // WCAG 2.2: black on white is 21:1; #767676 on white is the well-known edge of 4.5:1
    // (from memory: 4.54).
    assert!((contrast("#000", "#fff") - 21.0).abs() < 1e-9);
    assert!((contrast("#767676", "#ffffff") - 4.54).abs() < 0.01);
    // Worked by hand: sRGB red has the luminance 0.2126, so (0.2126 + 0.05) / 0.05 on black.
    assert!((contrast("#f00", "#000") - 5.252).abs() < 1e-9);
}

#[test]
fn text_can_be_read_in_every_look() {
    // SC 1.4.6 (7:1) for paper and dusk, SC 1.4.3 (4.5:1) for red on black, SC 1.4.3's 3:1 of bold
    // large letters for the dimmest step, which a person takes by a tap of their own.
    for (selector, least) in LOOKS.into_iter().zip([7.0, 7.0, 7.0, 4.5, 3.0]) {
        for ground in ["ground", "card"] {
            for text in ["ink", "soft"] {
                at_least(selector, text, ground, least);
            }
        }
    }
}

#[test]
fn what_is_tapped_and_what_is_drawn_stand_out() {
    for selector in LOOKS {
        // SC 1.4.11: 3:1. Half of that in the dimmest step, by the person's own tap.
        let edge = if selector == DIMMEST { 1.6 } else { 3.0 };
        at_least(selector, "edge", "ground", edge);
        at_least(selector, "edge", "card", edge);
        at_least(selector, "line", "ground", edge);
        at_least(selector, "mark", "ground", 3.0);
        // The mean is drawn over the band from smallest to largest.
        at_least(selector, "ink", "ahead", if selector == DIMMEST { 2.5 } else { 3.0 });
    }
    for selector in [PAPER, DARK_PHONE, DUSK] {
        at_least(selector, "past", "ground", 7.0);
        at_least(selector, "peak", "ground", 3.0);
        // The forecast is seen in the sun: common practice, no source.
        at_least(selector, "ahead", "ground", 2.5);
    }
}

#[test]
fn a_dark_phone_has_the_dusk_look() {
    assert_eq!(colours(DARK_PHONE), colours(DUSK));
}

#[test]
fn at_night_the_shapes_are_darker_than_the_figures() {
    for (selector, least) in [(NIGHT, [1.9, 1.5, 1.35]), (DIMMEST, [1.4, 1.25, 1.15])] {
        let of = colours(selector);
        let of = |name: &str| contrast(of[name], of["ground"]);
        for ((shape, brighter), least) in
            [("past", "ink"), ("peak", "past"), ("ahead", "peak")].into_iter().zip(least)
        {
            assert!(of(shape) < of(brighter), "{selector}: {shape}");
            assert!(of(shape) >= least, "{selector}: {shape} is {:.2}:1", of(shape));
        }
        assert!(of("past") < of("ink") / 1.9, "{selector}: the silhouette outshines the number");
    }
}

#[test]
fn the_night_look_has_heavier_letters_and_nothing_but_red() {
    let weight = |selector, name| colours(selector)[name].parse::<u32>().unwrap();
    for name in ["w", "b"] {
        assert!(weight(NIGHT, name) > weight(PAPER, name));
    }
    assert!(weight(DIMMEST, "w") >= 700);
    for (name, colour) in colours(NIGHT).into_iter().chain(colours(DIMMEST)) {
        let Some(digits) = colour.strip_prefix('#') else { continue };
        let rest = &digits[digits.len() / 3..];
        assert!(rest.bytes().all(|it| it == b'0'), "--{name} {colour} is more than red");
    }
    let of = colours(DIMMEST);
    assert_eq!(of["card"], of["ground"], "the dimmest step has no fills");
}

#[test]
fn what_is_tapped_is_large_enough() {
    // WCAG 2.2 SC 2.5.5 (AAA): 44 by 44 CSS pixels; 1rem is 16 of them.
    for rule in [
        "button,input,select,.button,summary{",
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
