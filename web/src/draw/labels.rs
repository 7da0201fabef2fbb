//! Where 'now' and the finish's time stand above the day line, so that neither covers the other or is
//! crossed by a line. Pure.
//!
//! Lines keep their place in per cent of the width, letters their size. So it is reckoned for the narrowest
//! phone: what is apart there is further apart on any wider one.

/// The narrowest drawing: 288 px (a phone of 320 less its margins) in letters of 14 px.
pub(super) const NARROWEST_EM: f64 = 20.4;
/// The flag's cloth and the gap to its time: 24 and 4 px.
pub(super) const CLOTH_EM: f64 = 2.1;
/// From a line to its word.
pub(super) const GAP_EM: f64 = 0.4;

/// On which side of its line a word stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Side {
    Left,
    Right,
    /// Under the ground, among the hours.
    Under,
}

/// The width of bold letters at most, em. DejaVu Sans Bold, the widest of the usual faces, has figures of
/// 0.70 and an m of 1.04.
pub(super) fn bold_em(text: &str) -> f64 {
    let one = |sign: char| match sign {
        '0'..='9' => 0.7,
        ':' | ' ' | '\u{a0}' => 0.4,
        _ => 0.9,
    };
    text.chars().map(one).sum()
}

/// From where to where a word reaches, em.
fn reach(line_em: f64, side: Side, wide_em: f64) -> [f64; 2] {
    match side {
        Side::Left => [line_em - wide_em, line_em],
        Side::Right | Side::Under => [line_em, line_em + wide_em],
    }
}

/// The sides of 'now' and of the finish. `now` and `finish` are the place of the line in per cent of the
/// width and the width of what stands beside it, em.
pub(super) fn sides(now: (f64, f64), finish: Option<(f64, f64)>) -> (Side, Side) {
    use Side::{Left, Right, Under};
    let em = |percent: f64| percent / 100.0 * NARROWEST_EM;
    let fits = |[from, to]: [f64; 2]| from >= 0.0 && to <= NARROWEST_EM;
    let (now_em, now_wide) = (em(now.0), now.1);
    let Some((finish, finish_wide)) = finish else {
        let left = fits(reach(now_em, Left, now_wide));
        return (if left { Left } else { Right }, Right);
    };
    let finish_em = em(finish);
    let beside = |[from, to]: [f64; 2], line: f64| line <= from || line >= to;
    for (now_side, finish_side) in [(Left, Right), (Right, Right), (Left, Left), (Right, Left)] {
        let said = reach(now_em, now_side, now_wide);
        let flag = reach(finish_em, finish_side, finish_wide);
        let apart = said[1] + GAP_EM <= flag[0] || flag[1] + GAP_EM <= said[0];
        let crossed = !beside(said, finish_em) || !beside(flag, now_em);
        if fits(said) && fits(flag) && apart && !crossed {
            return (now_side, finish_side);
        }
    }
    // The flag stands alone up there, and the line of now begins below it.
    (Under, if is_left_of_flag(finish, finish_wide) { Left } else { Right })
}

/// Whether a flag that stands alone has its time on the left. As [`sides`] has it.
pub(super) fn is_left_of_flag(finish: f64, wide_em: f64) -> bool {
    finish / 100.0 * NARROWEST_EM + wide_em > NARROWEST_EM
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn now_stands_left_of_its_line_and_the_finish_right_where_there_is_room() {
        assert_eq!(sides((28.0, 2.9), Some((60.0, 5.3))), (Side::Left, Side::Right));
        assert_eq!(sides((2.0, 2.9), Some((60.0, 5.3))), (Side::Right, Side::Right));
        assert_eq!(sides((28.0, 2.9), Some((90.0, 5.3))), (Side::Left, Side::Left));
        assert_eq!(sides((28.0, 2.9), None).0, Side::Left);
        assert_eq!(sides((1.0, 2.9), None).0, Side::Right);
    }

    #[test]
    fn where_both_do_not_fit_now_goes_under_the_ground() {
        // A finish within minutes, seen from the start of the outing and from its end.
        assert_eq!(sides((2.0, 2.9), Some((5.0, 5.3))), (Side::Under, Side::Right));
        assert_eq!(sides((86.0, 2.9), Some((97.0, 5.3))), (Side::Under, Side::Left));
    }

    #[test]
    fn nothing_is_covered_or_crossed_wherever_the_lines_are() {
        for now in 0..=100 {
            for finish in 0..=100 {
                let (now_at, finish_at) = (f64::from(now), f64::from(finish));
                let (now_side, finish_side) = sides((now_at, 2.9), Some((finish_at, 5.3)));
                let em = |percent: f64| percent / 100.0 * NARROWEST_EM;
                let flag = reach(em(finish_at), finish_side, 5.3);
                assert!(flag[0] >= 0.0 && flag[1] <= NARROWEST_EM, "{now} {finish}: {flag:?}");
                if now_side == Side::Under {
                    continue;
                }
                let said = reach(em(now_at), now_side, 2.9);
                assert!(said[0] >= 0.0 && said[1] <= NARROWEST_EM, "{now} {finish}: {said:?}");
                assert!(said[1] < flag[0] || flag[1] < said[0], "{now} {finish}");
            }
        }
    }
}
