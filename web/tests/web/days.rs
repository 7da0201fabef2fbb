//! Scenes for the day line alone: where its lines come close to each other or to an edge.

use std::sync::Arc;

use reckon::{
    forecast::{Forecast, Outlook},
    snapshot::{Basis, DrawHistory, FinishView, Snapshot, Verdict},
    time::Mono,
    units::{Seconds, Share},
};

use crate::scenes;

/// Began so many hours ago, left so many hours (cautiously, likely, at most), the finish in so many.
type Day = (f64, Option<[f64; 3]>, Option<f64>);

fn of(name: &str) -> Option<Day> {
    Some(match name {
        "day-start" => (0.02, Some([5.8, 6.7, 7.5]), Some(5.3)),
        "day-start-near" => (0.02, Some([5.8, 6.7, 7.5]), Some(0.3)),
        "day-near" => (3.0, Some([5.8, 6.7, 7.5]), Some(0.1)),
        "day-beyond" => (3.0, Some([1.8, 2.2, 2.7]), Some(9.0)),
        "day-long" => (48.0, Some([5.8, 6.7, 7.5]), Some(6.0)),
        "day-ends" => (12.0, Some([0.05, 0.1, 0.2]), Some(0.1)),
        "day-passed" => (6.0, Some([1.8, 2.2, 2.7]), Some(-0.3)),
        "day-passed-long-ago" => (12.0, Some([1.8, 2.2, 2.7]), Some(-11.5)),
        "day-blind" => (6.0, None, Some(0.5)),
        "day-open" => (6.0, Some([1.8, 2.2, 2.7]), None),
        _ => return None,
    })
}

/// The scene of that name.
pub(crate) fn day(name: &str) -> Option<Snapshot> {
    let (ago_h, left_h, finish_h) = of(name)?;
    let mut made = scenes::scene("fine")?;
    made.at.mono = Mono::at_s(made.at.mono.as_s() + 48.0 * 3600.0);
    let at = made.at.mono;
    let began = Mono::at_s(at.as_s() - ago_h * 3600.0);
    made.outing_began = began;
    // A step a minute.
    let steps = (1..).take_while(|step| *step == 1 || f64::from(*step) <= ago_h * 60.0);
    let cycle = |them: &[Option<f32>]| {
        them.iter().copied().cycle().zip(steps.clone()).map(|(watts, _)| watts).collect()
    };
    made.draw_history = Arc::new(DrawHistory {
        began,
        mean_w: cycle(&made.draw_history.mean_w),
        peak_w: cycle(&made.draw_history.peak_w),
        ticks: vec![Mono::at_s(at.as_s() - ago_h * 1800.0)],
        ..DrawHistory::clone(&made.draw_history)
    });
    made.outlook = left_h.map_or(Outlook::NotDraining, |left_h| {
        let remaining = left_h.map(|h| Seconds::of(h * 3600.0));
        Outlook::Lasts(Forecast { remaining, basis: Basis::Measured, made_at: at })
    });
    made.finish = finish_h.map(|finish_h| FinishView {
        at: Mono::at_s(at.as_s() + finish_h * 3600.0),
        chance: Share::new(0.96),
        verdict: Some(Verdict::Enough),
        spare: Some(Seconds::of(1200.0)),
    });
    Some(made)
}
