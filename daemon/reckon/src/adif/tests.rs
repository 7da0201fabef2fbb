//! The log reader against the standard's own examples, its data types, and hostile files.

use proptest::prelude::*;

use super::*;

fn plainly(text: &str) -> Log {
    read(text.as_bytes(), Keep::default())
}

/// Seconds since 1970 of 1990-06-20 15:23 and 2010-10-22 01:11 UTC (`date -u -d … +%s`).
const FIRST_S: i64 = 645_895_380;
const SECOND_S: i64 = 1_287_709_860;

fn standards_two(log: &Log) {
    assert_eq!((log.bad, log.contacts.len(), log.without_band), (0, 2, 0), "{log:?}");
    let [one, two] = &log.contacts[..] else { panic!("two records") };
    assert_eq!(one.began.unix_ms(), FIRST_S * 1000);
    assert_eq!((one.band.unwrap().name, one.mode.as_deref()), ("20m", Some("RTTY")));
    assert_eq!(two.began.unix_ms(), SECOND_S * 1000);
    assert_eq!((two.band.unwrap().name, two.mode.as_deref()), ("40m", Some("PSK63")));
    assert!(log.contacts.iter().all(|contact| contact.with.is_none()));
}

#[test]
fn the_standards_adi_example() {
    // Source: ADIF 3.1.6, 'ADI File Format', sample file; the calls are replaced by a placeholder.
    let text = "Generated on 2011-11-22 at 02:15:23Z for N0CALL\n\n\
        <adif_ver:5>3.0.5\n<programid:7>monolog\n<USERDEF1:3:N>EPC\n\
        <USERDEF2:19:E>SweaterSize,{S,M,L}\n<USERDEF3:15:N>ShoeSize,{5:20}\n\n<EOH>\n\n\
        <qso_date:8>19900620\n<time_on:4>1523\n<call:6>N0CALL\n<band:3>20M\n<mode:4>RTTY\n\
        <sweatersize:1>M\n<shoesize:2>11\n<app_monolog_compression:3>off\n<eor>\n\n\
        <qso_date:8>20101022\n<time_on:4>0111\n<call:6>N0CALL\n<band:3>40M\n<mode:3>PSK\n\
        <submode:5>PSK63\n<epc:5>32123\n<app_monolog_compression:3>off\n<eor>\n";
    standards_two(&plainly(text));
    standards_two(&plainly(&text.replace('\n', "\r\n")));
    standards_two(&plainly(&format!("\u{feff}{text}")));
    let with = read(text.as_bytes(), Keep { calls: true });
    assert!(with.contacts.iter().all(|contact| contact.with.as_deref() == Some("N0CALL")));
}

#[test]
fn the_standards_adx_example() {
    // Source: ADIF 3.1.6, 'ADX File Format', sample file; the calls are replaced by a placeholder.
    let text = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<ADX>\n  <HEADER>\n    \
        <!--Generated on 2011-11-22 at 02:15:23Z for N0CALL-->\n    <ADIF_VER>3.0.5</ADIF_VER>\n    \
        <PROGRAMID>monolog</PROGRAMID>\n    <USERDEF FIELDID=\"1\" TYPE=\"N\">EPC</USERDEF>\n    \
        <USERDEF FIELDID=\"2\" TYPE=\"E\" ENUM=\"{S,M,L}\">SWEATERSIZE</USERDEF>\n  </HEADER>\n  \
        <RECORDS>\n    <RECORD>\n      <QSO_DATE>19900620</QSO_DATE>\n      \
        <TIME_ON>1523</TIME_ON>\n      <CALL>N0CALL</CALL>\n      <BAND>20M</BAND>\n      \
        <MODE>RTTY</MODE>\n      <USERDEF FIELDNAME=\"SWEATERSIZE\">M</USERDEF>\n      \
        <APP PROGRAMID=\"MONOLOG\" FIELDNAME=\"Compression\" TYPE=\"s\">off</APP>\n    </RECORD>\n    \
        <RECORD>\n      <QSO_DATE>20101022</QSO_DATE>\n      <TIME_ON>0111</TIME_ON>\n      \
        <CALL>N0CALL</CALL>\n      <BAND>40M</BAND>\n      <MODE>PSK</MODE>\n      \
        <SUBMODE>PSK63</SUBMODE>\n    </RECORD>\n  </RECORDS>\n</ADX>\n";
    standards_two(&plainly(text));
    let odd = text.replace("<BAND>40M", "<BAND note='a > b'>4<![CDATA[0]]><!-- x -->&#77;");
    standards_two(&plainly(&odd));
}

#[test]
fn the_first_versions_examples() {
    // Source: ADIF 1.0 (1996), section 'Physical specifications': no header, types, line breaks.
    let text = "<call:6>N0CALL<band:3>20M<mode:4>RTTY\n<qso_date:8:d>19960513<time_on:4>1305<eor>\n\
        <call:6>N0CALL<band:2>2M<mode:2>FM\n<qso_date:8:d>19961231<time_on:6>235959<EOR>\n\n";
    let log = plainly(text);
    assert_eq!((log.bad, log.contacts.len()), (0, 2), "{log:?}");
    // `date -u -d '1996-12-31 23:59:59' +%s`
    assert_eq!(log.contacts[1].began.unix_ms(), 852_076_799_000);
    assert_eq!(log.contacts[1].band.unwrap().name, "2m");
}

#[test]
fn data_types_are_the_standards() {
    // Source: ADIF 3.1.6, 'Data Types': Date and Time with their ranges.
    for (text, good) in [
        ("19300101", true),
        ("19291231", false),
        ("20240229", true),
        ("20230229", false),
        ("20000229", true),
        ("21000229", false),
        ("20241301", false),
        ("20240431", false),
        ("2024043", false),
        ("2024-4-3", false),
        ("+2024040", false),
    ] {
        assert_eq!(values::day(text).is_some(), good, "Date {text}");
    }
    for (text, want) in [
        ("0000", Some(0)),
        ("2359", Some(86_340)),
        ("235959", Some(86_399)),
        ("2400", None),
        ("1260", None),
        ("120060", None),
        ("12:00", None),
        ("120", None),
        ("12000", None),
    ] {
        assert_eq!(values::second_of_day(text), want, "Time {text}");
    }
    // Source: ADIF 3.0.4 Resources, 'Numbers': its valid and invalid examples.
    for (text, want) in [
        ("0", Some(0.0)),
        ("-1", Some(-1.0)),
        ("10.37", Some(10.37)),
        (".333", Some(0.333)),
        ("0008.50", Some(8.5)),
        ("+10.37", None),
        ("0008,50", None),
        ("1,000,000", None),
        ("10.100.500", None),
        ("0x3c", None),
        ("", None),
        (".", None),
        ("1e3", None),
    ] {
        assert_eq!(values::number(text), want, "Number {text}");
    }
    assert_eq!(values::day("19700101"), Some(0));
}

#[test]
fn a_missing_band_comes_from_the_frequency() {
    // Source: ADIF 3.0.4 Resources, frequencies in MHz (10.1005, 0.472); 3.1.6, enumeration Band.
    for (freq, band) in [
        ("14", "20m"),
        ("10.1005", "30m"),
        ("0.472", "630m"),
        ("14.350", "20m"),
        ("7.0740", "40m"),
        ("5.357", "60m"),
        ("144.174", "2m"),
        ("1296.2", "23cm"),
        ("122250", "2.5mm"),
    ] {
        let text = format!(
            "<QSO_DATE:8>20240501<TIME_ON:4>1200<FREQ:{}>{freq}<MODE:3>FT8<EOR>",
            freq.len()
        );
        assert_eq!(plainly(&text).contacts[0].band.unwrap().name, band, "{freq} MHz");
    }
    let text = "<QSO_DATE:8>20240501<TIME_ON:4>1200<FREQ:6>14.351<EOR>";
    assert_eq!((plainly(text).without_band, plainly(text).contacts[0].band), (1, None));
    for pair in BANDS.windows(2) {
        assert!(pair[0].high_mhz < pair[1].low_mhz, "{:?} meets {:?}", pair[0], pair[1]);
    }
}

#[test]
fn bad_records_are_listed_and_good_ones_count() {
    let text = "made up\n<EOH>\n\
        <QSO_DATE:8>20240501<TIME_ON:4>1200<BAND:3>20m<EOR>\n\
        <QSO_DATE:8>20240532<TIME_ON:4>1201<EOR>\n\
        <QSO_DATE:8>20240501\n<TIME_ON:4>12h1<EOR>\n\
        <BAND:3>20m<EOR>\n\
        <QSO_DATE:x>20240501<TIME_ON:4>1200<EOR>\n\
        <QSO_DATE:8>20240501<TIME_ON:4>1203<NAME:99>short<EOR>\n\
        <QSO_DATE:8>20240501<TIME_ON:4>1204<BAND:3>20m<EOR>\n\
        <QSO_DATE:8>20240501<TIME_ON:4>12";
    let log = plainly(text);
    assert_eq!(log.contacts.len(), 2, "{log:?}");
    let told: Vec<(usize, Option<usize>, Fault)> =
        log.complaints.into_iter().map(|c| (c.line, c.record, c.fault)).collect();
    assert_eq!(
        told,
        [
            (4, Some(2), Fault::BadDate("20240532".into())),
            (5, Some(3), Fault::BadTime("12h1".into())),
            (7, Some(4), Fault::NoTime),
            (8, Some(5), Fault::BadTag("QSO_DATE".into())),
            (9, Some(6), Fault::CutOff("NAME".into())),
            (11, Some(8), Fault::CutOff("TIME_ON".into())),
        ]
    );
    assert_eq!(log.bad, 6);
}

#[test]
fn lengths_in_bytes_and_in_characters_are_both_read() {
    for length in [4, 5] {
        let text =
            format!("<NAME:{length}>José<QSO_DATE:8>20240501 <TIME_ON:4>1200 <BAND:3>20m <EOR>");
        let log = plainly(&text);
        assert_eq!((log.bad, log.contacts.len()), (0, 1), "{length}: {log:?}");
    }
}

#[test]
fn an_end_may_lie_past_midnight() {
    let fields = "<QSO_DATE:8>20240501<TIME_ON:4>2358<TIME_OFF:4>0003";
    let lasted = |more: &str| {
        let contact = plainly(&format!("{fields}{more}<EOR>")).contacts.remove(0);
        contact.ended.map(|ended| (ended.unix_ms() - contact.began.unix_ms()) / 1000)
    };
    assert_eq!(lasted(""), Some(300));
    assert_eq!(lasted("<QSO_DATE_OFF:8>20240502"), Some(300));
    assert_eq!(lasted("<QSO_DATE_OFF:8>20240501"), None, "before it began: not believed");
}

#[test]
fn what_is_no_log_is_said_so() {
    for text in ["", "no tag here", "\0\0\0"] {
        let log = plainly(text);
        assert_eq!(log.complaints[0].fault, Fault::NotALog, "{text:?}");
    }
    assert_eq!(plainly("<ADX><RECORDS></RECORDS></ADX>").bad, 0, "no records are no fault");
}

#[test]
fn hostile_files_stay_within_bounds() {
    let many = "<EOH>".to_owned() + &"<BAND:1>x<EOR>".repeat(10_000);
    let log = plainly(&many);
    assert_eq!((log.bad, log.complaints.len()), (10_000, MOST_COMPLAINTS));
    // Lengths far beyond the file, nesting, entities that name themselves, brackets without end.
    for text in [
        "<CALL:999999999999>x<EOR>".repeat(2000),
        "<CALL:18446744073709551616>x<EOR>".to_owned(),
        "<".repeat(200_000),
        // Each length reaches nearly to the one record end far away: looked for once, not each time.
        "<A:2000000>".repeat(200_000) + "<EOR>",
        "<ADX>".repeat(50_000),
        format!("<!DOCTYPE a [<!ENTITY b \"{}\">]><ADX><RECORD>&b;", "&b;".repeat(1000)),
        format!("<ADX><RECORD><CALL>{}", "&lt;".repeat(100_000)),
        "<ADX><RECORD><CALL x=\"".to_owned() + &"y".repeat(100_000),
    ] {
        let log = plainly(&text);
        assert!(log.contacts.is_empty() && log.complaints.len() <= MOST_COMPLAINTS);
    }
}

proptest! {
    #[test]
    fn nothing_panics(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        let log = read(&bytes, Keep { calls: true });
        // One more where the file only lacks its end.
        prop_assert!(log.complaints.len() <= log.bad + 1);
    }

    #[test]
    fn nothing_made_of_its_own_pieces_panics(
        pieces in proptest::collection::vec(
            prop::sample::select(vec![
                "<", ">", "</", "<EOR>", "<EOH>", "<ADX>", "<RECORD>", "</RECORD>", "<CALL:3>",
                "<QSO_DATE:8>", "20240501", "<TIME_ON:4>", "1200", "é", "&#x110000;", "&amp;",
                "<![CDATA[", "]]>", "<!--", "-->", "<?", "\n", ":", "99999999999",
            ]),
            0..40,
        )
    ) {
        let log = read(pieces.concat().as_bytes(), Keep::default());
        // One more where the file only lacks its end.
        prop_assert!(log.complaints.len() <= log.bad + 1);
    }

    #[test]
    fn what_is_written_is_read(
        day in 0_i64..40_000, second in 0_i64..86_400, band in 0..BANDS.len(),
    ) {
        // Days back to a date by the standard library's own calendar-free counting.
        let (mut year, mut left) = (1970, day);
        let long = |y: i64| if y % 4 == 0 && (y % 100 != 0 || y % 400 == 0) { 366 } else { 365 };
        while left >= long(year) { left -= long(year); year += 1; }
        let months = [31, long(year) - 337, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
        let mut month = 0;
        while left >= months[month] { left -= months[month]; month += 1; }
        let name = BANDS[band].name;
        let text = format!(
            "<QSO_DATE:8>{year:04}{:02}{:02}<TIME_ON:6>{:02}{:02}{:02}<BAND:{}>{name}<EOR>",
            month + 1, left + 1, second / 3600, second / 60 % 60, second % 60, name.len()
        );
        let log = plainly(&text);
        prop_assert_eq!(log.contacts[0].began.unix_ms(), (day * 86_400 + second) * 1000);
        prop_assert_eq!(log.contacts[0].band.unwrap().name, name);
    }
}

#[test]
fn a_remark_may_speak_of_the_end_of_a_record() {
    // A value is as long as its tag says, whatever it holds (ADIF 3.1.6, 'ADI File Format').
    let file = b"<QSO_DATE:8>20240309<TIME_ON:4>0800<COMMENT:12><EOR> inside<EOR>\n\
        <QSO_DATE:8>20240309<TIME_ON:4>0810<EOR>";
    let log = read(file, Keep::default());
    assert_eq!((log.contacts.len(), log.bad), (2, 0), "{log:?}");
    // A length that is wrong still costs its own record only.
    let file = b"<QSO_DATE:8>20240309<TIME_ON:4>0800<COMMENT:31>short<EOR>\n\
        <QSO_DATE:8>20240309<TIME_ON:4>0810<EOR>";
    let log = read(file, Keep::default());
    assert_eq!((log.contacts.len(), log.bad), (1, 1), "{log:?}");
}

/// A record of the standard's own fields.
fn of(call: &str, time: &str, mode: &str) -> String {
    format!(
        "<CALL:{}>{call}<QSO_DATE:8>20240309<TIME_ON:{}>{time}<BAND:3>20m{mode}<EOR>\n",
        call.len(),
        time.len()
    )
}

#[test]
fn the_same_contact_twice_counts_once() {
    // Times of four and six digits, and a mode that is the other's submode: ADIF 3.1.6, 'Data
    // Types' (Time) and 'Mode and Submode'.
    let ft4 = "<MODE:4>MFSK<SUBMODE:3>FT4";
    for (one, other, want) in [
        (of("N0CALL", "121030", ft4), of("N0CALL", "121030", ft4), 1),
        (of("N0CALL", "1210", ft4), of("n0call", "121042", "<MODE:3>FT4"), 1),
        (of("N0CALL", "121042", "<MODE:3>FT4"), of("N0CALL", "1210", ""), 1),
        (of("N0CALL", "121030", ft4), of("N0CALL/P", "121030", ft4), 2),
        (of("N0CALL", "121030", ft4), of("N0CALL", "121130", ft4), 2),
        (of("N0CALL", "1210", ft4), of("N0CALL", "1210", "<MODE:2>CW"), 2),
        (of("N0CALL", "1210", ft4).replace("20m", "40m"), of("N0CALL", "1210", ft4), 2),
        // Without calls nobody can say that it is the same.
        (of("", "1210", ft4), of("", "1210", ft4), 2),
    ] {
        let log = plainly(&(one.clone() + &of("N0CALL/A", "1300", ft4) + &other));
        let (count, again) = (log.contacts.len() - 1, log.again);
        assert_eq!((count, count + again), (want, 2), "{one}{other}: {log:?}");
        assert!(log.contacts.iter().all(|contact| contact.with.is_none()), "compared, not kept");
    }
    let log = plainly(&(of("N0CALL", "1210", "") + &of("N0CALL", "121042", ft4)));
    let [contact] = &log.contacts[..] else { panic!("{log:?}") };
    assert_eq!(contact.began.unix_ms() / 1000 % 60, 42, "the better time");
    assert_eq!(contact.mode.as_deref(), Some("FT4"), "what either knows");
}

#[test]
fn a_remark_may_hold_an_end_and_a_lone_bracket() {
    let file = b"<QSO_DATE:8>20240309<TIME_ON:4>0800<COMMENT:16>5 < 7 <EOR> ends<EOR>\n\
        <QSO_DATE:8>20240309<TIME_ON:4>0810<EOR>";
    let log = read(file, Keep::default());
    assert_eq!((log.contacts.len(), log.bad), (2, 0), "{log:?}");
}

#[test]
fn a_last_record_without_its_end_is_kept_and_said() {
    let text = of("N0CALL", "1210", "") + of("N0CALL/P", "1220", "").trim_end_matches("<EOR>\n");
    let log = plainly(&text);
    assert_eq!((log.contacts.len(), log.bad), (2, 0), "{log:?}");
    let told = &log.complaints[0];
    assert_eq!((told.line, told.record, &told.fault), (2, Some(2), &Fault::Unended));
    // Without its time it is none.
    let log = plainly(&(of("N0CALL", "1210", "") + "<CALL:6>N0CALL<QSO_DATE:8>20240309"));
    assert_eq!((log.contacts.len(), log.bad), (1, 1), "{log:?}");
    assert_eq!(log.complaints[0].fault, Fault::Unfinished);
}

#[test]
fn an_adx_file_that_is_cut_off_is_complained_about() {
    let record = "<RECORD><QSO_DATE>20240309</QSO_DATE><TIME_ON>0800</TIME_ON></RECORD>\n";
    let whole = format!("<ADX><RECORDS>\n{record}{record}</RECORDS></ADX>");
    assert_eq!(plainly(&whole).complaints, []);
    for cut in ["</ADX>", "</RECORDS></ADX>", &format!("{record}</RECORDS></ADX>")] {
        let log = plainly(whole.strip_suffix(cut).unwrap());
        let faults: Vec<&Fault> = log.complaints.iter().map(|it| &it.fault).collect();
        assert_eq!((log.bad, faults), (0, vec![&Fault::CutShort]), "{cut}");
    }
    let within = plainly(whole.split_once("0800").unwrap().0);
    assert_eq!((within.contacts.len(), within.bad), (0, 1));
    assert_eq!(within.complaints.last().unwrap().fault, Fault::CutShort);
}
