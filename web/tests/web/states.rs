//! Further states of Now for looking at and measuring: alarms that come and go, the last minutes, and
//! every length of the one number.

use std::time::Duration;

use reckon::{
    bank::BankSpec,
    forecast::{Forecast, Outlook},
    power_off::PowerOff,
    snapshot::{About, Alarm, FinishAdvice, FinishView, Snapshot, Verdict},
    time::Mono,
    units::{Seconds, Share, Watts},
};

use crate::scenes;

/// Hours of the low, middle and high end for each length that the number may have.
const NUMBERS: [(&str, [f64; 3]); 8] = [
    ("at_its_end", [0.0, 0.002, 0.01]),
    ("one_minute", [0.01, 0.017, 0.03]),
    ("minutes", [0.62, 0.98, 1.3]),
    ("hours", [5.1, 5.75, 6.4]),
    ("many_hours", [13.2, 13.75, 14.3]),
    ("days", [70.0, 77.0, 84.0]),
    ("many_days", [600.0, 640.0, 680.0]),
    ("beyond_a_month", [900.0, 1000.0, 1200.0]),
];

fn alarms(made: &mut Snapshot, about: &[About]) {
    let since = Mono::at_s(made.at.mono.as_s() - 60.0);
    let alarm = |about: &About| Alarm { about: about.clone(), since, asleep_until: None };
    made.alarms = about.iter().map(alarm).collect();
}

fn lasting(mut made: Snapshot, hours: [f64; 3]) -> Snapshot {
    if let Outlook::Lasts(forecast) = &mut made.outlook {
        let remaining = hours.map(|h| Seconds::of(h * 3600.0));
        *forecast = Forecast { remaining, ..*forecast };
    }
    made
}

/// The finish can just be reached, or not.
fn tight(mut made: Snapshot) -> Snapshot {
    let now_s = made.at.mono.as_s();
    made.finish = Some(FinishView {
        at: Mono::at_s(now_s + 6.333 * 3600.0),
        chance: Share::new(0.66),
        verdict: Some(Verdict::Tight),
        spare: Some(Seconds::of(1200.0)),
    });
    made.advice = Some(FinishAdvice {
        activity: Some("Receive".to_owned()),
        draw: Some(Watts::of(3.2)),
        at_most: Some(Watts::of(2.6)),
        safe_until: Mono::at_s(now_s + 5.8 * 3600.0),
    });
    made
}

/// The last quarter of an hour, as far as `power_off` has come.
fn last_minutes(made: Snapshot, power_off: PowerOff) -> Snapshot {
    let mut made = lasting(tight(made), [0.06, 0.12, 0.2]);
    alarms(&mut made, &[About::RunningOut { limit_min: 10 }]);
    made.power_off = power_off;
    made
}

/// A state by its name, or one of the scenes.
pub(crate) fn state(name: &str) -> Option<Snapshot> {
    let mut made = scenes::scene("fine")?;
    if let Some((_, hours)) = NUMBERS.iter().find(|(number, _)| *number == name) {
        return Some(lasting(made, *hours));
    }
    let at = |ahead_s: f64| Mono::at_s(made.at.mono.as_s() + ahead_s);
    let (counting, watching) = (
        PowerOff::Counting { since: at(-30.0), until: at(90.0) },
        PowerOff::Watching { limit: Duration::from_secs(300) },
    );
    let (stopped, unsure) =
        (PowerOff::Stopped { at: at(-5.0) }, PowerOff::Unsure { since: at(-30.0) });
    Some(match name {
        "one_alarm" => {
            made = tight(made);
            alarms(&mut made, &[About::FinishAtRisk { below_percent: 75 }]);
            made
        }
        "two_alarms" => {
            made = tight(made);
            let about =
                [About::Undervoltage { times: 3 }, About::FinishAtRisk { below_percent: 75 }];
            alarms(&mut made, &about);
            made
        }
        "two_hours" => {
            made = lasting(made, [1.9, 2.3, 2.7]);
            alarms(&mut made, &[About::RunningOut { limit_min: 120 }]);
            made
        }
        "ten_minutes" => last_minutes(made, watching),
        "countdown" => last_minutes(made, counting),
        "kept" => last_minutes(made, stopped),
        "perhaps_at_its_end" => last_minutes(made, unsure),
        "newcomer" => {
            made.finish = None;
            made
        }
        "long_names" => long_names(made),
        _ => return scenes::scene(name),
    })
}

/// Names as long as people make them.
fn long_names(mut made: Snapshot) -> Snapshot {
    made = tight(made);
    made.outing = Some("Third evening on the ridge above the old reservoir".to_owned());
    let spec = BankSpec { name: "The long six in the green bag".to_owned(), ..scenes::long_six() };
    made.bank.spec = Some(std::sync::Arc::new(spec));
    made
}
