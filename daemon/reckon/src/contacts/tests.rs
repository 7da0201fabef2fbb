//! Contacts laid beside made-up records whose sums are known.

use super::*;
use crate::adif::{Keep, read};

fn at(second: i64) -> Wall {
    // 2024-05-01 12:00 UTC is 1714564800 (`date -u -d … +%s`).
    Wall::from_unix_ms((1_714_564_800 + second) * 1000)
}

/// An hour at 3 W, with 9 W in the second and third quarter.
fn record() -> Vec<Stretch> {
    (0..3600)
        .map(|second| Stretch {
            from: at(second),
            lasted: Seconds::of(1.0),
            draw: Watts::of(if (900..2700).contains(&second) { 9.0 } else { 3.0 }),
        })
        .collect()
}

fn log(text: &str) -> Vec<Contact> {
    let log = read(text.as_bytes(), Keep::default());
    assert_eq!(log.bad, 0, "{log:?}");
    log.contacts
}

fn near(got: f64, want: f64) {
    assert!((got - want).abs() <= 1e-9 * want.abs(), "got {got}, want {want}");
}

#[test]
fn energy_and_draw_by_contact() {
    let contacts =
        log("<QSO_DATE:8>20240501<TIME_ON:4>1210<TIME_OFF:4>1220<BAND:3>20m<MODE:3>FT8<EOR>\
        <QSO_DATE:8>20240501<TIME_ON:4>1230<TIME_OFF:4>1235<BAND:3>20m<MODE:3>FT8<EOR>\
        <QSO_DATE:8>20240501<TIME_ON:4>1250<BAND:3>40m<MODE:2>CW<EOR>\
        <QSO_DATE:8>20240501<TIME_ON:4>1310<BAND:3>40m<MODE:2>CW<EOR>");
    let all = reckon(&contacts, &record());
    assert_eq!((all.contacts, all.elsewhere), (3, 1));
    // 1800 s at 3 W and 1800 s at 9 W are 6 Wh; three contacts in an hour.
    near(all.energy.wh(), 6.0);
    near(all.energy_each().unwrap().wh(), 2.0);
    near(all.an_hour().unwrap(), 3.0);
    // 12:10-12:20: 5 min at 3 W, 5 at 9 W; 12:30-12:35 at 9 W; 12:50 two minutes at 3 W.
    near(all.in_contact_energy.si(), 300.0 * 3.0 + 600.0 * 9.0 + 120.0 * 3.0);
    near(all.in_contact.si(), 1020.0);
    near(all.draw_in_contact().unwrap().si(), 6660.0 / 1020.0);
    near(all.draw_between().unwrap().si(), (21_600.0 - 6660.0) / 2580.0);
    let [first, second] = &all.groups[..] else { panic!("two groups: {:?}", all.groups) };
    assert_eq!((first.band, first.mode.as_deref(), first.contacts), (Some("20m"), Some("FT8"), 2));
    near(first.energy.si(), 6300.0);
    assert_eq!((second.band, second.contacts), (Some("40m"), 1));
    near(second.draw().unwrap().si(), 3.0);
}

#[test]
fn contacts_at_the_same_time_share() {
    let contacts = log("<QSO_DATE:8>20240501<TIME_ON:4>1201<TIME_OFF:4>1203<BAND:3>20m<EOR>\
        <QSO_DATE:8>20240501<TIME_ON:4>1202<TIME_OFF:4>1204<BAND:3>40m<EOR>");
    let all = reckon(&contacts, &record());
    near(all.in_contact_energy.si(), 180.0 * 3.0);
    let parts: f64 = all.groups.iter().map(|group| group.energy.si()).sum();
    near(parts, 540.0);
    // Cut in long stretches the result is the same.
    let minutes: Vec<Stretch> = (0..60)
        .map(|minute| Stretch {
            from: at(minute * 60),
            lasted: Seconds::of(60.0),
            draw: Watts::of(if (15..45).contains(&minute) { 9.0 } else { 3.0 }),
        })
        .collect();
    near(reckon(&contacts, &minutes).in_contact_energy.si(), 540.0);
}

#[test]
fn no_record_and_no_contacts() {
    let contacts = log("<QSO_DATE:8>20240501<TIME_ON:4>1201<EOR>");
    assert_eq!(reckon(&contacts, &[]).elsewhere, 1);
    let none = reckon(&[], &record());
    assert_eq!((none.energy_each(), none.draw_in_contact()), (None, None));
    assert_eq!(none.still_possible(Joules::from_wh(5.0)), None);
}

#[test]
fn contacts_still_possible_are_gammas() {
    // Source: scipy.stats.gamma.ppf (tests/reference/energy_book.py): shape n + 1/2, unit scale.
    // Wilson and Hilferty's approximation is good to 2 % from three contacts on.
    let table = include_str!("../../../../tests/reference/energy_book.txt");
    let mut seen = [3, 10, 47].into_iter();
    for line in table.lines().filter_map(|line| line.strip_prefix("gamma | ")) {
        let numbers: Vec<Vec<f64>> = line
            .split(" | ")
            .map(|column| column.split(' ').map(|n| n.parse().unwrap()).collect())
            .collect();
        let contacts = seen.next().unwrap();
        near(numbers[0][0], f64::from(contacts) + 0.5);
        let all = Reckoned { contacts, energy: Joules::of(100.0), ..Reckoned::default() };
        let got = all.still_possible(Joules::of(100.0)).unwrap();
        for (got, want) in got.iter().zip(&numbers[2]) {
            assert!((got / want - 1.0).abs() < 0.02, "{contacts}: got {got}, want {want}");
        }
    }
    assert_eq!(seen.next(), None);
}

#[test]
fn minutes_of_contact_are_the_union_of_contacts() {
    let contacts = log("<QSO_DATE:8>20240501<TIME_ON:4>1230<TIME_OFF:4>1235<EOR>\
        <QSO_DATE:8>20240501<TIME_ON:4>1201<TIME_OFF:4>1203<EOR>\
        <QSO_DATE:8>20240501<TIME_ON:4>1203<EOR>\
        <QSO_DATE:8>20240501<TIME_ON:4>1231<TIME_OFF:4>1232<EOR>");
    // A contact without an end counts as two minutes; one within another adds nothing.
    let want = [(at(60), at(300)), (at(1800), at(2100))];
    assert_eq!(stretches(&contacts), want);
    assert!(stretches(&[]).is_empty());
}

#[test]
fn a_contact_that_was_logged_late_does_not_claim_the_hours_after_it() {
    // Half an hour at most (common practice, no source); one of that length counts whole.
    let contacts = log("<QSO_DATE:8>20240501<TIME_ON:4>1200<TIME_OFF:4>1400<EOR>");
    let all = reckon(&contacts, &record());
    near(all.in_contact.si(), 1800.0);
    near(all.in_contact_energy.si(), 900.0 * 3.0 + 900.0 * 9.0);
    assert_eq!(stretches(&contacts), [(at(0), at(1800))]);
    let whole = log("<QSO_DATE:8>20240501<TIME_ON:4>1200<TIME_OFF:4>1229<EOR>");
    near(reckon(&whole, &record()).in_contact.si(), 1740.0);
}
