//! The border between what the engine calls its choices and the file that keeps them across
//! restarts: structs of its own, checked when they are read.

use std::{io, path::Path};

use reckon::{
    bank::{BankDescription, BankSpec, Start},
    belief::Away,
    engine::{AwayChoice, Choices, FinishChoice, PlanChoice},
    name,
    record::{OutingPlan, PlannedStretch},
    time::{Mono, Wall},
    units::{Celsius, Joules, Seconds, Share, Volts},
    words,
};
use serde::{Deserialize, Serialize};

use crate::host::small_files::{read_some, set_aside, write_whole};

const CHOICES: &str = "choices.toml";
/// No board runs for ten years, and no bank of ours gives this much.
const LONGEST_S: f64 = 3.2e8;
const MOST_WH: f64 = 1e5;
const HEAD: &str = "# Kept by outlast across restarts. Change things on the page, not here.\n";

/// What a person chose, and how far the outing had come.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub(crate) struct ChoicesFile {
    /// The boot that this was written in; boot-based times are good in that one only.
    pub(crate) boot_id: Option<String>,
    /// Whether the wall clock was synchronised in that boot.
    pub(crate) clock_was_synchronised: bool,
    /// What the operator was doing.
    activity: Option<String>,
    /// Whether a tap chose it rather than a rule; where a file does not say, a tap did.
    activity_tapped: Option<bool>,
    /// The outing's name.
    outing: Option<String>,
    began_s: f64,
    counted_to_s: f64,
    counted_s: f64,
    delivered_wh: f64,
    bridged_wh: f64,
    /// Where a file does not say, nothing.
    #[serde(default)]
    over_range_wh: f64,
    /// How full the bank was, chosen or not: as with a chosen bank.
    start: Option<String>,
    start_share: Option<f64>,
    finish: Option<FinishEntry>,
    plan: Option<PlanEntry>,
    away: Option<AwayEntry>,
    bank: Option<BankEntry>,
}

/// The finish, in boot time and, where the clock was believed, in wall time.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct FinishEntry {
    at_s: f64,
    wall_ms: Option<i64>,
}

/// The plan that the outing was started with; boot time and, where the clock was believed, wall time.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct PlanEntry {
    began_s: f64,
    wall_ms: Option<i64>,
    bank: String,
    finish_s: f64,
    reserve_s: f64,
    lasts_s: [f64; 3],
    energy_wh: [f64; 3],
    ambient_c: Option<f64>,
    stretches: Vec<StretchEntry>,
}

/// A stretch of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct StretchEntry {
    name: String,
    lasts_s: f64,
    draw_w: f64,
    draw_log_sd: f64,
}

impl PlanEntry {
    fn from_choice(choice: &PlanChoice) -> Self {
        let plan = &choice.plan;
        let stretch = |one: &PlannedStretch| StretchEntry {
            name: one.name.clone(),
            lasts_s: one.lasts_s,
            draw_w: one.draw_w,
            draw_log_sd: one.draw_log_sd,
        };
        Self {
            began_s: plan.began_s,
            wall_ms: choice.wall.map(Wall::unix_ms),
            bank: plan.bank.clone(),
            finish_s: plan.finish_s,
            reserve_s: plan.reserve_s,
            lasts_s: plan.lasts_s,
            energy_wh: plan.energy_wh,
            ambient_c: plan.ambient_c,
            stretches: plan.stretches.iter().map(stretch).collect(),
        }
    }

    /// As it was started; what cannot be ours in it, the engine leaves out.
    fn choice(&self) -> PlanChoice {
        let stretch = |one: &StretchEntry| PlannedStretch {
            name: name::mended(&one.name, name::LONGEST),
            lasts_s: one.lasts_s,
            draw_w: one.draw_w,
            draw_log_sd: one.draw_log_sd,
        };
        let plan = OutingPlan {
            began_s: self.began_s,
            bank: name::mended(&self.bank, name::LONGEST),
            finish_s: self.finish_s,
            reserve_s: self.reserve_s,
            lasts_s: self.lasts_s,
            energy_wh: self.energy_wh,
            ambient_c: self.ambient_c,
            stretches: self.stretches.iter().map(stretch).collect(),
        };
        PlanChoice { plan, wall: self.wall_ms.map(Wall::from_unix_ms) }
    }
}

/// The supply was away, and it is not known whether another bank came; boot time.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct AwayEntry {
    from_s: f64,
    to_s: f64,
    stepped: bool,
    before_wh: f64,
}

impl AwayEntry {
    fn from_choice(doubted: &AwayChoice) -> Self {
        Self {
            from_s: doubted.away.from.as_s(),
            to_s: doubted.away.to.as_s(),
            stepped: doubted.away.stepped,
            before_wh: doubted.before.wh(),
        }
    }

    /// As it was doubted, or nothing if the figures cannot be ours.
    fn doubted(&self) -> Option<AwayChoice> {
        let figures = [self.from_s, self.to_s, self.before_wh];
        let sound = figures.iter().all(|x| x.is_finite() && *x >= 0.0) && self.from_s <= self.to_s;
        let (from, to) = (Mono::at_s(self.from_s), Mono::at_s(self.to_s));
        sound.then(|| AwayChoice {
            away: Away { from, to, stepped: self.stepped },
            before: Joules::from_wh(self.before_wh),
        })
    }
}

/// The bank that was chosen, and how full it was then.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct BankEntry {
    name: String,
    cells: String,
    series: u8,
    label_mah: f64,
    label_v: f64,
    measured_at: String,
    ambient_c: Option<f64>,
    cutoff_v: Option<f64>,
    /// `full`, `part` or `unknown`.
    start: String,
    start_share: Option<f64>,
}

impl ChoicesFile {
    /// As it will be written.
    pub(crate) fn from_choices(
        choices: &Choices,
        boot_id: Option<&str>,
        clock_was_synchronised: bool,
    ) -> Self {
        Self {
            boot_id: boot_id.map(str::to_owned),
            clock_was_synchronised,
            activity: choices.activity.clone(),
            activity_tapped: Some(choices.activity_tapped),
            outing: choices.outing.clone(),
            began_s: choices.began.as_s(),
            counted_to_s: choices.counted_to.as_s(),
            counted_s: choices.counted.si(),
            delivered_wh: choices.delivered.wh(),
            bridged_wh: choices.bridged.wh(),
            over_range_wh: choices.over_range.wh(),
            finish: choices.finish.map(|finish| FinishEntry {
                at_s: finish.at.as_s(),
                wall_ms: finish.wall.map(Wall::unix_ms),
            }),
            plan: choices.plan.as_ref().map(PlanEntry::from_choice),
            start: choices.start.map(|start| start.name().to_owned()),
            start_share: choices.start.and_then(level_beside),
            away: choices.away.as_ref().map(AwayEntry::from_choice),
            bank: choices.bank.as_ref().map(|(spec, start)| BankEntry::from_spec(spec, *start)),
        }
    }

    /// Whether it was written since the board was last switched on.
    pub(crate) fn same_boot(&self, boot_id: Option<&str>) -> bool {
        boot_id.is_some() && self.boot_id.as_deref() == boot_id
    }

    /// As it was chosen.
    pub(crate) fn choices(&self) -> Choices {
        Choices {
            bank: self.bank.as_ref().and_then(BankEntry::told),
            finish: self.finish.map(|finish| FinishChoice {
                at: Mono::at_s(finish.at_s),
                wall: finish.wall_ms.map(Wall::from_unix_ms),
            }),
            plan: self.plan.as_ref().map(PlanEntry::choice),
            activity: self.activity.clone(),
            activity_tapped: self.activity_tapped.unwrap_or(self.activity.is_some()),
            outing: self.outing.clone(),
            began: Mono::at_s(self.began_s),
            counted_to: Mono::at_s(self.counted_to_s),
            counted: Seconds::of(self.counted_s),
            delivered: Joules::from_wh(self.delivered_wh),
            bridged: Joules::from_wh(self.bridged_wh),
            over_range: Joules::from_wh(self.over_range_wh),
            start: self.start.as_deref().and_then(|it| Start::named(it, self.start_share)),
            away: self.away.as_ref().and_then(AwayEntry::doubted),
        }
    }

    fn sound(&self) -> bool {
        let times = [self.began_s, self.counted_to_s, self.counted_s];
        let energies = [self.delivered_wh, self.bridged_wh, self.over_range_wh];
        times.iter().all(|x| (0.0..=LONGEST_S).contains(x))
            && energies.iter().all(|x| (0.0..=MOST_WH).contains(x))
            && self.bank.as_ref().is_none_or(|bank| bank.told().is_some())
    }
}

impl BankEntry {
    /// As it will be written.
    fn from_spec(spec: &BankSpec, start: Start) -> Self {
        Self {
            name: spec.name.clone(),
            cells: spec.cells.name().to_owned(),
            series: spec.series,
            label_mah: spec.label.si() * 1000.0,
            label_v: spec.label_volts.si(),
            measured_at: spec.measured_at.name().to_owned(),
            ambient_c: spec.ambient.map(Celsius::si),
            cutoff_v: spec.cutoff.map(Volts::si),
            start: start.name().to_owned(),
            start_share: level_beside(start),
        }
    }

    /// The bank as told, or `None` if the figures cannot be ours.
    fn told(&self) -> Option<(BankSpec, Start)> {
        let start = Start::named(&self.start, self.start_share)?;
        let described = BankDescription {
            name: Some(name::mended(&self.name, name::LONGEST)).filter(|name| !name.is_empty()),
            cells: Some(self.cells.clone()),
            series: Some(f64::from(self.series)),
            label_mah: Some(self.label_mah),
            label_v: Some(self.label_v),
            measured_at: Some(self.measured_at.clone()),
            ambient_c: self.ambient_c,
            cutoff_v: self.cutoff_v,
        };
        described.complete().ok().map(|spec| (spec, start))
    }
}

/// What is written beside `part`.
fn level_beside(start: Start) -> Option<f64> {
    start.middle().filter(|_| start.name() == "part").map(Share::part)
}

/// What was kept, and what is to be said about it.
pub(crate) struct Found {
    /// Empty if there was nothing or nothing readable.
    pub(crate) kept: ChoicesFile,
    /// A damaged file was set aside, or could not be read: a sentence.
    pub(crate) trouble: Option<String>,
}

/// Reads what was kept.
pub(crate) fn load(folder: &Path) -> Found {
    let path = folder.join(CHOICES);
    let bytes = match read_some(&path) {
        Ok(bytes) => bytes,
        Err(why) if why.kind() == io::ErrorKind::NotFound => {
            return Found { kept: ChoicesFile::default(), trouble: None };
        }
        Err(why) => {
            let trouble = words::journal::choices_unreadable(&path.display(), &why);
            return Found { kept: ChoicesFile::default(), trouble: Some(trouble) };
        }
    };
    match understood(&bytes) {
        Some(kept) => Found { kept, trouble: None },
        None => Found {
            kept: ChoicesFile::default(),
            trouble: Some(words::journal::choose_again(&set_aside(&path))),
        },
    }
}

fn understood(bytes: &[u8]) -> Option<ChoicesFile> {
    // An empty file is what a power cut leaves of one, not one in which nothing was chosen.
    let text = std::str::from_utf8(bytes).ok().filter(|text| !text.trim().is_empty())?;
    let kept: ChoicesFile = toml::from_str(text).ok()?;
    kept.sound().then_some(kept)
}

/// Writes what must survive.
///
/// # Errors
/// Whatever the card says.
pub(crate) fn save(folder: &Path, kept: &ChoicesFile) -> io::Result<()> {
    let body = toml::to_string(kept).map_err(io::Error::other)?;
    write_whole(folder, CHOICES, format!("{HEAD}{body}").as_bytes())
}

#[cfg(test)]
mod tests {
    use super::*;
    use reckon::{
        bank::{Cells, MeasuredAt},
        units::AmpHours,
    };
    use std::fs;

    fn blue_ten() -> BankSpec {
        BankSpec {
            name: "Blue \"ten\" = [x]".into(),
            cells: Cells::LiIon,
            series: 1,
            label: AmpHours::of(10.0),
            label_volts: Volts::of(3.7),
            measured_at: MeasuredAt::Output,
            ambient: Some(Celsius::of(-3.5)),
            cutoff: None,
        }
    }

    fn choices() -> Choices {
        Choices {
            bank: Some((blue_ten(), Start::Part(Share::nearest(0.75)))),
            start: Some(Start::Part(Share::nearest(0.7))),
            finish: Some(FinishChoice {
                at: Mono::at_s(9000.5),
                wall: Some(Wall::from_unix_ms(7)),
            }),
            plan: Some(PlanChoice {
                plan: OutingPlan {
                    began_s: 120.0,
                    bank: "Blue ten".into(),
                    finish_s: 28_800.0,
                    reserve_s: 3600.0,
                    lasts_s: [30_000.0, 34_000.0, 39_000.0],
                    energy_wh: [22.0, 26.0, 31.0],
                    ambient_c: Some(-3.5),
                    stretches: vec![PlannedStretch {
                        name: "Receive \"only\"".into(),
                        lasts_s: 28_800.0,
                        draw_w: 2.75,
                        draw_log_sd: 0.15,
                    }],
                },
                wall: Some(Wall::from_unix_ms(7)),
            }),
            activity: Some("receive".into()),
            activity_tapped: true,
            outing: Some("Ridge above the reservoir".into()),
            began: Mono::at_s(60.0),
            counted_to: Mono::at_s(7200.0),
            counted: Seconds::of(7000.0),
            delivered: Joules::from_wh(6.0),
            bridged: Joules::from_wh(0.5),
            over_range: Joules::from_wh(0.25),
            away: Some(AwayChoice {
                away: Away { from: Mono::at_s(5000.0), to: Mono::at_s(5040.0), stepped: false },
                before: Joules::from_wh(4.0),
            }),
        }
    }

    fn kept() -> ChoicesFile {
        ChoicesFile::from_choices(&choices(), Some("boot"), true)
    }

    #[test]
    fn what_is_kept_comes_back() {
        let home = tempfile::tempdir().unwrap();
        assert_eq!(load(home.path()).kept, ChoicesFile::default());
        save(home.path(), &kept()).unwrap();
        save(home.path(), &kept()).unwrap();
        let found = load(home.path());
        assert_eq!((found.kept.clone(), found.trouble), (kept(), None));
        assert_eq!(found.kept.choices(), choices());
        assert!(found.kept.same_boot(Some("boot")) && !found.kept.same_boot(None));
    }

    #[test]
    fn every_bit_flipped_is_read_or_set_aside_never_lost() {
        let home = tempfile::tempdir().unwrap();
        save(home.path(), &kept()).unwrap();
        let path = home.path().join(CHOICES);
        let good = fs::read(&path).unwrap();
        for (at, bit) in (0..good.len()).map(|at| (at, at % 8)) {
            let mut bad = good.clone();
            bad[at] ^= 1 << bit;
            fs::write(&path, &bad).unwrap();
            let found = load(home.path());
            if let Some(trouble) = found.trouble {
                let aside =
                    trouble.split(['\u{20}', ';']).find(|w| w.contains(".damaged-")).unwrap();
                assert_eq!(fs::read(aside).unwrap(), bad, "{trouble}");
                fs::remove_file(aside).unwrap();
                assert_eq!(found.kept, ChoicesFile::default());
            } else {
                let bank = found.kept.choices().bank;
                assert!(bank.is_none_or(|(spec, _)| spec.faults().is_empty()));
            }
        }
    }
}
