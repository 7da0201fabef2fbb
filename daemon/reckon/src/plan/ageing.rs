//! What age and use left of a bank's capacity.

use libm::{exp, hypot, log, pow, sqrt};

use super::lookup::between_powers;
use crate::{
    bank::Cells,
    units::{Celsius, Share},
};

/// How a bank lived. Years and cycles below 0 count as none, years above 50 as 50.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Life {
    /// Since it was made.
    pub years: f64,
    /// How full it was kept; below half counts as half.
    pub kept_at: Share,
    /// How warm it was kept; 10 to 50 °C, colder counts as 10.
    pub warmth: Celsius,
    /// How often it was discharged.
    pub cycles: f64,
    /// How deep each time.
    pub depth: Share,
}

/// Capacity that is left: a log-normal law.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Left {
    /// Share of the capacity when new, its middle.
    pub share: f64,
    /// Deviation of its natural logarithm.
    pub log_sd: f64,
}

/// What is lost in store after one year and after two, kept half full and full.
type Store = [[f64; 2]; 2];

/// At 25 °C and at 40 °C: BLAST-Lite 1.1.1, mean of its NMC111 and NCA 18650 models.
const LI_ION: [Store; 2] = [[[0.031, 0.047], [0.057, 0.086]], [[0.068, 0.107], [0.123, 0.193]]];
/// The same, its LFP 26650 model.
const LIFEPO4: [Store; 2] = [[[0.038, 0.053], [0.060, 0.078]], [[0.060, 0.086], [0.089, 0.118]]];
/// What sealed lead-acid loses in a year at 25 °C; twice as much 10 °C warmer (common practice, no source).
const LEAD_ACID_A_YEAR: f64 = 0.04;

/// Whole discharges after which a fifth is gone. A maker's 18650 sheet: 500 typical, 300 at least; makers' LiFePO4
/// packs: 2000 to 2500, or 3000 of 80 %. So lithium counts what went through it.
const LI_ION_CYCLES: f64 = 500.0;
const LIFEPO4_CYCLES: f64 = 2250.0;
/// By depth, from a sealed lead-acid maker's sheet: 200 whole ones, 600 of half, 1500 of 30 %.
const LEAD_ACID_CYCLES: [(f64, f64); 3] = [(0.3, 1500.0), (0.5, 600.0), (1.0, 200.0)];
/// What is gone then. (Sheets of lead-acid seldom say; common practice, no source.)
const GONE: f64 = 0.20;

/// How well either loss is known, as a share of it: the two lithium-ion models lie that far from their mean, and
/// 300 to 500 cycles are as far apart. Lead-acid, of which less is known, more.
const LOSS_SD: f64 = 1.0 / 3.0;
const LEAD_ACID_LOSS_SD: f64 = 0.5;
/// So much is always left.
const LEAST: f64 = 0.1;

/// What is left of a bank that lived so: storage and use each take their share.
#[must_use]
pub fn left(cells: Cells, life: &Life) -> Left {
    let (stored, used) = (in_store(cells, life), in_use(cells, life));
    let share = ((1.0 - stored) * (1.0 - used)).max(LEAST);
    let known = if cells == Cells::LeadAcid { LEAD_ACID_LOSS_SD } else { LOSS_SD };
    Left { share, log_sd: known * hypot(stored, used) / share }
}

/// The share that storage took. It grows by the root of time, and with warmth as Arrhenius has it.
fn in_store(cells: Cells, life: &Life) -> f64 {
    let years = sound(life.years, 50.0);
    let warmth = life.warmth.si().clamp(10.0, 50.0);
    let table = match cells {
        Cells::LiIon => &LI_ION,
        Cells::LiFePo4 => &LIFEPO4,
        Cells::LeadAcid => {
            return (LEAD_ACID_A_YEAR * years * pow(2.0, (warmth - 25.0) / 10.0)).min(1.0 - LEAST);
        }
    };
    let full = (2.0 * life.kept_at.part() - 1.0).max(0.0);
    let after = |store: &Store, year: usize| {
        let [half, whole] = [store[0][year], store[1][year]];
        half + (whole - half) * full
    };
    let roots = [0.0, 1.0, core::f64::consts::SQRT_2];
    let [cool, hot] = [0, 1].map(|k| {
        let losses = [0.0, after(&table[k], 0), after(&table[k], 1)];
        let first = if years < 1.0 { 0 } else { 1 };
        let slope = (losses[first + 1] - losses[first]) / (roots[first + 1] - roots[first]);
        losses[first] + slope * (sqrt(years) - roots[first])
    });
    if cool <= 0.0 {
        return 0.0;
    }
    let warmer = (warmth - 25.0) / 15.0;
    exp(log(cool) + log(hot / cool) * warmer).min(1.0 - LEAST)
}

/// The share that discharging took.
fn in_use(cells: Cells, life: &Life) -> f64 {
    let (cycles, depth) = (sound(life.cycles, 1e6), life.depth.part());
    let whole = cycles * depth;
    let worn = match cells {
        Cells::LiIon => whole / LI_ION_CYCLES,
        Cells::LiFePo4 => whole / LIFEPO4_CYCLES,
        Cells::LeadAcid => cycles / between_powers(&LEAD_ACID_CYCLES, depth.max(0.01)),
    };
    (GONE * worn).min(1.0 - LEAST)
}

fn sound(number: f64, most: f64) -> f64 {
    if number.is_nan() { 0.0 } else { number.clamp(0.0, most) }
}

#[cfg(test)]
mod tests {
    use alloc::vec::Vec;

    use super::*;

    const NEW: Life = Life {
        years: 0.0,
        kept_at: Share::WHOLE,
        warmth: Celsius::of(25.0),
        cycles: 0.0,
        depth: Share::WHOLE,
    };

    fn near(got: f64, want: f64, within: f64, what: &str) {
        assert!((got - want).abs() <= within, "{what}: got {got}, want {want}");
    }

    fn stored(cells: Cells, celsius: f64, charge: f64, years: f64) -> Left {
        let warmth = Celsius::of(celsius);
        left(cells, &Life { years, kept_at: Share::nearest(charge), warmth, ..NEW })
    }

    /// Cell, °C, charge, and the share left after .5, 1, 2, 3 and 4 years.
    fn published() -> Vec<(&'static str, f64, f64, [f64; 5])> {
        let rows = include_str!("../../tests/published/ageing.csv").lines().skip(1);
        let read = |row: &'static str| {
            let mut cells = row.split(',');
            let name = cells.next().unwrap();
            let figures: Vec<f64> = cells.map(|cell| cell.parse().unwrap()).collect();
            (name, figures[0], figures[1], figures[2..].try_into().unwrap())
        };
        rows.map(read).collect()
    }

    #[test]
    fn storage_takes_what_the_published_models_say() {
        // BLAST-Lite 1.1.1, tests/published/ageing.py. Our two points a line, roots between and beyond, Arrhenius
        // between and beyond 25 and 40 °C: LiFePO4 within 1.5 % of the capacity to four years and 50 °C.
        let rows = published();
        assert_eq!(rows.len(), 30);
        for (name, celsius, charge, shares) in rows {
            let lfp = name.starts_with("LFP");
            let cells = if lfp { Cells::LiFePo4 } else { Cells::LiIon };
            for (years, share) in [0.5, 1.0, 2.0, 3.0, 4.0].into_iter().zip(shares) {
                let ours = stored(cells, celsius, charge, years);
                if lfp {
                    near(ours.share, share, 0.015, name);
                } else {
                    // Two models that differ: each within three of our deviations.
                    let off = libm::fabs(log(ours.share / share)) / ours.log_sd;
                    assert!(
                        off < 3.0,
                        "{name}, {celsius} °C, {charge}, {years}: {ours:?}, {share}"
                    );
                }
            }
        }
    }

    #[test]
    fn a_year_or_two_in_a_drawer_or_a_hot_car() {
        // The same models as printed beside the facts on ageing, after 1 and 2 years: 25 °C half full, 25 °C full, 40
        // °C half full, 40 °C full.
        let nmc = [[0.975, 0.958], [0.952, 0.921], [0.926, 0.876], [0.861, 0.768]];
        let nca = [[0.962, 0.946], [0.931, 0.902], [0.936, 0.910], [0.888, 0.841]];
        let lfp = [[0.962, 0.947], [0.940, 0.922], [0.940, 0.914], [0.911, 0.882]];
        for (k, (celsius, charge)) in
            [(25.0, 0.5), (25.0, 1.0), (40.0, 0.5), (40.0, 1.0)].into_iter().enumerate()
        {
            for (year, years) in [1.0, 2.0].into_iter().enumerate() {
                let ours = stored(Cells::LiIon, celsius, charge, years).share;
                near(ours, f64::midpoint(nmc[k][year], nca[k][year]), 0.003, "lithium-ion");
                let ours = stored(Cells::LiFePo4, celsius, charge, years).share;
                near(ours, lfp[k][year], 0.001, "LiFePO4");
            }
        }
    }

    #[test]
    fn use_takes_a_fifth_in_the_cycles_of_the_sheets() {
        let used = |cells, cycles, depth| {
            left(cells, &Life { cycles, depth: Share::nearest(depth), ..NEW }).share
        };
        // Makers' sheets: an 18650, 500 cycles typical; LiFePO4 packs, 2000 to 2500 whole ones, 3000 of 80 %; sealed
        // lead-acid, 200, 600 and 1500 at 100, 50 and 30 %.
        near(used(Cells::LiIon, 500.0, 1.0), 0.80, 1e-9, "18650");
        assert!(
            used(Cells::LiFePo4, 2000.0, 1.0) > 0.80 && used(Cells::LiFePo4, 2500.0, 1.0) < 0.80
        );
        near(used(Cells::LiFePo4, 3000.0, 0.8), 0.80, 0.015, "LiFePO4, 80 %");
        for (cycles, depth) in [(200.0, 1.0), (600.0, 0.5), (1500.0, 0.3)] {
            near(used(Cells::LeadAcid, cycles, depth), 0.80, 1e-9, "lead-acid");
        }
        // 300 cycles at least, 500 typical: a cell that is that poor is within two and a half
        // deviations.
        let typical = left(Cells::LiIon, &Life { cycles: 300.0, ..NEW });
        assert!(log(typical.share / 0.80) < 2.5 * typical.log_sd, "{typical:?}");
    }

    #[test]
    fn a_new_bank_is_whole_and_each_year_takes_some() {
        for cells in Cells::ALL {
            assert_eq!(left(cells, &NEW), Left { share: 1.0, log_sd: 0.0 });
            let shares: Vec<f64> =
                (0..12).map(|year| stored(cells, 25.0, 0.8, f64::from(year)).share).collect();
            assert!(shares.windows(2).all(|pair| pair[1] < pair[0]), "{shares:?}");
        }
    }

    #[test]
    fn nothing_breaks_on_a_hostile_number() {
        for bad in [f64::MAX, -f64::MAX, f64::NAN, f64::INFINITY, 0.0, -1.0] {
            for cells in Cells::ALL {
                let warmth = Celsius::of(bad);
                let life = Life {
                    years: bad,
                    kept_at: Share::nearest(bad),
                    warmth,
                    cycles: bad,
                    depth: Share::nearest(bad),
                };
                let Left { share, log_sd } = left(cells, &life);
                assert!((LEAST..=1.0).contains(&share) && log_sd.is_finite(), "{share} {log_sd}");
            }
        }
    }
}
