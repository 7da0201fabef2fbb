//! Settings from outside: what an owner may write, and what is said about mistakes.

use super::*;
use reckon::{
    bank::MeasuredAt,
    units::{Share, Volts},
};

const SHIPPED: &str = include_str!("../../../../systemd/outlast.toml");

fn said(text: &str) -> Vec<String> {
    read(text).expect_err("must be refused").iter().map(ToString::to_string).collect()
}

#[test]
fn shipped_file_is_the_defaults() {
    let shipped = read(SHIPPED).expect("the shipped file is good");
    assert_eq!(format!("{shipped:?}"), format!("{:?}", Settings::default()));
    assert_eq!(format!("{:?}", read("").unwrap()), format!("{:?}", Settings::default()));
}

#[test]
fn every_example_in_the_shipped_file_can_be_switched_on() {
    let switched: String = SHIPPED
        .lines()
        .map(|line| {
            let bare = line.strip_prefix("# ").unwrap_or(line);
            let word = bare.split([' ', '=']).next().unwrap_or("");
            let is_key =
                bare.contains(" = ") && word.chars().all(|c| c.is_ascii_lowercase() || c == '_');
            if is_key || bare.starts_with('[') { format!("{bare}\n") } else { "\n".to_owned() }
        })
        .collect();
    let s = read(&switched).unwrap_or_else(|e| panic!("{e:#?}"));
    let bank = s.bank.expect("the example bank");
    assert_eq!(
        (bank.name.as_str(), bank.label.si(), bank.cutoff),
        ("Blue ten", 10.0, Some(Volts::of(3.0)))
    );
    assert_eq!(s.board, Some(BoardKind::FourB));
    assert_eq!(s.spare_banks.len(), 1);
    assert_eq!(s.board_draw, Some((Watts::of(2.7), Watts::of(6.4))));
    assert_eq!(s.radio.map(|r| r.transmit.si()), Some(2.0 * 13.8));
    assert_eq!(s.accessories.len(), 1);
    assert!(s.contacts.watch.is_some() && !s.contacts.keep_calls);
    assert_eq!(s.activity_rules.len(), 1);
    assert_eq!(s.sensors[0].chip, Some(Chip::Ina219));
    assert_eq!(s.warnings.led.as_deref(), Some("ACT"));
    assert_eq!((s.warnings.webhooks.len(), s.warnings.commands.len()), (1, 1));
    // Every key that the reader knows stands in the file: an unknown one lists its neighbours.
    for table in [
        "",
        "[bank]\nlabel_mah=1",
        "[record]",
        "[contacts]",
        "[draw]",
        "[[accessory]]",
        "[[activity_rule]]",
        "[[sensor]]",
        "[[spare_bank]]",
        "[alarms]",
        "[power_off]",
        "[[webhook]]",
        "[[command]]",
    ] {
        let all = said(&format!("{table}\n\"?\" = 1"));
        let list =
            all.iter().find_map(|l| l.split("that can be used here: ").nth(1)).expect("a list");
        for key in list.trim_end_matches('.').split(", ") {
            let known =
                SHIPPED.contains(&format!("{key} = ")) || SHIPPED.contains(&format!("[{key}]"));
            assert!(known, "`{key}` of {table} is not explained in the shipped file");
        }
    }
}

#[test]
fn rules_for_activities_are_checked() {
    let good = "activities = [\"receive\", \"night\"]\n\
                [[activity_rule]]\nactivity = \"receive\"\nprogram = \"decode\"\n\
                [[activity_rule]]\nactivity = \"night\"\nfrom = \"22:00\"\nto = \"06:30\"\n";
    let rules = read(good).unwrap().activity_rules;
    assert_eq!(rules.len(), 2);
    assert_eq!(
        rules[0].program.as_ref().map(|p| (p.word.as_str(), p.cores_busy)),
        Some(("decode", 0.02))
    );
    let night = rules[1].time.unwrap();
    assert_eq!((night.from_min, night.to_min), (22 * 60, 6 * 60 + 30));
    let all = said(
        "[[activity_rule]]\nactivity = \"fishing\"\nprogram = \"x\"\nbusy_above = -1\n\
         [[activity_rule]]\nfrom = \"8 am\"\n\
         [[activity_rule]]\nactivity = \"idle\"\n\
         [[activity_rule]]\nactivity = \"idle\"\nbusy_above = 1\nfrom = \"08:00\"\nto = \"08:00\"\n",
    );
    let want = [
        "There are: receive, contacts, logging, idle",
        "want 0 to 64 cores",
        "which activity is chosen",
        "a time of day in quotes",
        "only used together",
        "when is the activity chosen",
        "only used with `program`",
        "no time at all",
    ];
    assert_eq!(all.len(), want.len(), "{all:#?}");
    for want in want {
        assert!(all.iter().any(|line| line.contains(want)), "{want}: {all:#?}");
    }
}

#[test]
fn how_the_record_is_kept_is_checked() {
    let s = read("set_clock_from_phone = true\n[record]\nevery_s = 120\nfine_days = 7\n").unwrap();
    assert!(s.set_clock_from_phone);
    assert_eq!((s.record.every_s, s.record.fine_days, s.record.most_mib), (120.0, 7, 256));
    let all = said("set_clock_from_phone = \"yes\"\n[record]\nevery_s = 5\nmost_mib = 1.5\n");
    for want in [
        "line 1: set_clock_from_phone = \"yes\": want true or false",
        "line 3: record.every_s = 5: want 10 to 3600 s",
        "line 4: record.most_mib = 1.5: want a whole number from 16 to 16384",
    ] {
        assert!(all.iter().any(|line| line.starts_with(want)), "`{want}` is missing in {all:#?}");
    }
}

#[test]
fn mistakes_about_warnings_are_said() {
    let all = said(
        "[alarms]\nlimits_min = [0]\nled = \"../ACT\"\n[power_off]\nwithout_sensor = 1\n\
         [[webhook]]\nurl = \"ftp://x/\"\n[[webhook]]\nurl = \"http://x/\"\nbody = \"{txet}\"\n\
         [[command]]\nprogram = \"tell\"\n[[command]]\nlimit_s = 5\n",
    );
    let want = [
        "whole numbers, each 1 to 1440",
        "the name of an on-board LED",
        "want true or false",
        "ftp is not http or https",
        "{txet} is not known",
        "the whole path of a program",
        "what is to be run?",
    ];
    assert_eq!(all.len(), want.len(), "{all:#?}");
    for (said, want) in all.iter().zip(want) {
        assert!(said.contains(want), "{want}: {said}");
    }
    let s = read("[alarms]\nlimits_min = []\n[power_off]\nbelow_min = 0\n").unwrap();
    assert!(s.warnings.alarms.limits_min.is_empty());
    assert_eq!(s.warnings.power_off.limit, None);
}

#[test]
fn certificates_of_ones_own_are_looked_at_before_they_are_needed() {
    let own = |file: &str| {
        format!("[[webhook]]\nurl = \"https://heron.example/\"\nca_file = \"{file}\"\n")
    };
    let wants = if cfg!(feature = "tls") {
        vec![
            ("root.pem", "the whole path"),
            ("/nonexistent/root.pem", "cannot be read"),
            ("/dev/null", "no certificate in it"),
        ]
    } else {
        vec![("/dev/null", "--features tls")]
    };
    for (file, want) in wants {
        let all = said(&own(file));
        assert!(all.len() == 1 && all[0].contains(want), "{want}: {all:#?}");
    }
}

#[test]
fn five_mistakes_are_five_complaints() {
    let all = said(
        "station = 7\nlistn = \"0.0.0.0:1\"\n[bank]\nlabel_mah = -5\nseries = 0\n[[sensor]]\nmatches = \"x\"\nscale = 0\n",
    );
    assert_eq!(all.len(), 5, "{all:#?}");
    assert!(all[0].starts_with("line 1: station = 7: want a text"), "{all:#?}");
    assert!(all[1].contains("line 2: listn: no such key. Did you mean `listen`?"), "{all:#?}");
    assert!(
        all[2].contains(
            "line 4: bank.label_mah = -5: The capacity must be a number from 100 to 2 000 000 mAh"
        ),
        "{all:#?}"
    );
    assert!(all[2].contains("printed on the bank's label"), "{all:#?}");
    assert!(
        all[3].contains(
            "line 5: bank.series = 0: Cells in series must be a whole number from 1 to 16"
        ),
        "{all:#?}"
    );
    assert!(all[4].contains("line 8: sensor[0].scale = 0"), "{all:#?}");
}

#[test]
fn numbers_that_are_none() {
    for bad in ["nan", "inf", "-inf", "1e400", "9223372036854775807", "\"12\"", "true"] {
        assert_eq!(said(&format!("[bank]\nlabel_mah = {bad}")).len(), 1, "{bad}");
    }
    assert_eq!(read("[bank]\nlabel_mah = 0x2710").unwrap().bank.unwrap().label.si(), 10.0);
}

#[test]
fn what_does_not_fit_together() {
    assert!(said("[bank]\nlabel_mah = 6000\nlabel_v = 12.8")[0].contains("not 12.8 V"));
    assert!(said("[bank]\nname = \"x\"")[0].contains("not guessed"));
    assert!(said("[draw]\nidle_w = 3\nfull_w = 2")[0].contains("no less than an idle one"));
    assert!(said("[draw]\nidle_w = 3")[0].contains("only used together"));
    assert!(said("bank = 3")[0].contains("[bank]"));
    assert!(said("accessory = []\nactivities = [\"a\", \"a\"]")[0].contains("different"));
}

#[test]
fn broken_toml_says_the_line() {
    let all = said("station = \"x\"\nlisten = \n[bank\nlabel_mah = 3");
    assert!(all.iter().any(|l| l.starts_with("line 2") && l.contains("not TOML")), "{all:#?}");
    // Whatever is in the file, reading it ends in settings or in complaints.
    let nested = "[".repeat(5000);
    for junk in ["\u{0}", "=", "[[[", "a.b.c = 1", "bank = [{}]", "'''", nested.as_str()] {
        assert!(read(junk).is_err(), "{junk:?}");
    }
}

#[test]
fn a_bank_told_in_few_words() {
    let bank = read("[bank]\ncells = \"lifepo4\"\nlabel_mah = 6000").unwrap().bank.unwrap();
    assert_eq!(
        (bank.series, bank.label_volts.si(), bank.measured_at),
        (4, 12.8, MeasuredAt::Cells)
    );
    let part = read("[bank]\nlabel_mah = 10000\nstart = \"70 %\"").unwrap();
    assert_eq!(part.start, Start::Part(Share::new(0.7).unwrap()));
    assert_eq!(draw::board_named("Raspberry Pi 4 Model B Rev 1.4"), Some(BoardKind::FourB));
    assert_eq!(draw::board_named("Raspberry Pi Zero 2 W Rev 1.0"), Some(BoardKind::ZeroTwoW));
    assert_eq!(
        draw::board_named("Raspberry Pi 3 Model A Plus Rev 1.0"),
        Some(BoardKind::ThreeAPlus)
    );
    assert_eq!(draw::board_named("6"), None);
}
