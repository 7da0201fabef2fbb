//! The file that keeps the list of paired phones across restarts; structs of its own, checked when
//! they are read.
//!
//! P1: a pairing that was ended does not come back. Where the new list cannot be written, as on a
//! full card, the old one is removed, which needs no room: then every phone must be paired again
//! after a restart. Only a card that takes no change at all brings it back, and that is said.

use std::{
    fs::{self, File, OpenOptions},
    io,
    path::{Path, PathBuf},
    sync::{Mutex, PoisonError},
};

use reckon::{name, time::Wall, words};
use serde::{Deserialize, Serialize};
use web::{MOST_PHONES, Pairing, Phone, PhoneKeeper};

use crate::host::small_files::{random, read_some, secret, set_aside, write_whole};

const PHONES: &str = "phones.toml";
const HEAD: &str = "# Kept by outlast across restarts. `outlast phone` shows and changes it.\n";

#[derive(Default, Serialize, Deserialize)]
struct Listed {
    #[serde(default)]
    phone: Vec<Entry>,
}

#[derive(Serialize, Deserialize)]
struct Entry {
    number: u32,
    ticket: String,
    name: Option<String>,
    paired_unix_ms: Option<i64>,
    renewed_unix_ms: Option<i64>,
}

impl Entry {
    fn of(phone: &Phone) -> Self {
        Self {
            number: phone.number,
            ticket: format!("{:032x}", u128::from_be_bytes(phone.ticket)),
            name: phone.name.clone(),
            paired_unix_ms: phone.paired.map(Wall::unix_ms),
            renewed_unix_ms: phone.renewed.map(Wall::unix_ms),
        }
    }

    fn phone(&self) -> Option<Phone> {
        let name = self.name.as_deref().map(name::checked).transpose().ok()?;
        Some(Phone {
            number: self.number,
            ticket: u128::from_str_radix(&self.ticket, 16).ok()?.to_be_bytes(),
            name,
            paired: self.paired_unix_ms.map(Wall::from_unix_ms),
            renewed: self.renewed_unix_ms.map(Wall::from_unix_ms),
        })
    }
}

/// Keeps the list in this folder, or nowhere.
pub(crate) struct PhonesFile {
    folder: Option<PathBuf>,
    /// What the tickets on the card say.
    on_card: Mutex<Vec<[u8; 16]>>,
}

/// Who may change things, as it was before; and what is wrong with the files that say so.
pub(crate) fn pairing(folder: Option<&Path>) -> (Pairing, Vec<String>) {
    let (secret, kept) = secret(folder);
    let (phones, keeper, trouble) = load(folder, kept == Ok(true));
    let pairing = Pairing::new(secret, random).with_phones(phones, keeper);
    (pairing, kept.err().into_iter().chain(trouble).collect())
}

/// The phones that were kept, who keeps them from now on, and what is wrong with the file. Without
/// the secret that signed their tickets, those that were kept are nobody's.
fn load(folder: Option<&Path>, same_secret: bool) -> (Vec<Phone>, PhonesFile, Option<String>) {
    let read = folder.map(|folder| read(&folder.join(PHONES)));
    let (phones, trouble) = read.unwrap_or_default();
    let on_card = Mutex::new(phones.iter().map(|phone| phone.ticket).collect());
    let keeper = PhonesFile { folder: folder.map(Path::to_path_buf), on_card };
    (if same_secret { phones } else { Vec::new() }, keeper, trouble)
}

fn read(path: &Path) -> (Vec<Phone>, Option<String>) {
    let bytes = match read_some(path) {
        Ok(bytes) => bytes,
        Err(why) if why.kind() == io::ErrorKind::NotFound => return Default::default(),
        Err(why) => {
            return (Vec::new(), Some(words::journal::keys_unreadable(&path.display(), &why)));
        }
    };
    let listed = std::str::from_utf8(&bytes).ok().and_then(|text| toml::from_str(text).ok());
    let phones = listed.and_then(|it: Listed| it.phone.iter().map(Entry::phone).collect());
    match phones {
        Some(phones) => {
            let mut phones: Vec<Phone> = phones;
            let more = phones.len().saturating_sub(MOST_PHONES);
            (phones.split_off(more), None)
        }
        None => {
            let aside = set_aside(path);
            (
                Vec::new(),
                Some(format!("{}; {aside}", words::journal::keys_damaged(&path.display()))),
            )
        }
    }
}

impl PhoneKeeper for PhonesFile {
    fn keep(&self, phones: &[Phone]) -> Result<(), String> {
        let Some(folder) = &self.folder else { return Ok(()) };
        let mut on_card = self.on_card.lock().unwrap_or_else(PoisonError::into_inner);
        let tickets: Vec<[u8; 16]> = phones.iter().map(|phone| phone.ticket).collect();
        let listed = Listed { phone: phones.iter().map(Entry::of).collect() };
        let text = toml::to_string(&listed).map_err(io::Error::other);
        let written =
            text.and_then(|text| write_whole(folder, PHONES, format!("{HEAD}{text}").as_bytes()));
        let Err(why) = written else {
            *on_card = tickets;
            return Ok(());
        };
        let path = folder.join(PHONES);
        if on_card.iter().all(|it| tickets.contains(it)) {
            return Err(words::phones_not_kept(&path.display(), &why));
        }
        if take_away(folder, &path) {
            on_card.clear();
            return Err(words::phones_taken_away(&path.display(), &why));
        }
        Err(words::phones_stuck(&path.display(), &why))
    }
}

/// Removes the file, or empties it where even that needs room, as on some file systems; says whether
/// it is gone.
fn take_away(folder: &Path, path: &Path) -> bool {
    let synced = || File::open(folder).and_then(|folder| folder.sync_all());
    let emptied = || {
        let file = OpenOptions::new().write(true).truncate(true).open(path)?;
        file.sync_all()
    };
    match fs::remove_file(path) {
        Ok(()) => synced().is_ok(),
        Err(why) if why.kind() == io::ErrorKind::NotFound => true,
        Err(_) => emptied().is_ok(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn phone(number: u8, name: Option<&str>) -> Phone {
        let paired = Some(Wall::from_unix_ms(1_700_000_000_000));
        let name = name.map(str::to_owned);
        Phone { number: number.into(), ticket: [number; 16], name, paired, renewed: None }
    }

    /// A folder in the way of the file aside: nothing can be written, by root neither; what is there
    /// can be removed. So does a full card.
    fn fill(folder: &Path) {
        fs::create_dir_all(folder.join(format!(".{PHONES}.new/full"))).unwrap();
    }

    #[test]
    fn what_is_kept_comes_back_in_its_order() {
        let home = tempfile::tempdir().unwrap();
        let (none, keeper, trouble) = load(Some(home.path()), true);
        assert_eq!((none, trouble), (Vec::new(), None));
        let phones = vec![phone(7, None), phone(2, Some("Blue cover"))];
        assert_eq!(keeper.keep(&phones), Ok(()));
        let (again, _, trouble) = load(Some(home.path()), true);
        assert_eq!((again, trouble), (phones, None));
        assert!(load(Some(home.path()), false).0.is_empty(), "tickets of another secret");
        assert_eq!(load(None, true).1.keep(&[phone(1, None)]), Ok(()));
    }

    #[test]
    fn a_full_card_brings_no_ended_pairing_back() {
        let home = tempfile::tempdir().unwrap();
        let (_, keeper, _) = load(Some(home.path()), true);
        keeper.keep(&[phone(1, None), phone(2, None)]).unwrap();
        fill(home.path());
        // A new one costs nobody else anything.
        let said = keeper.keep(&[phone(1, None), phone(2, None), phone(3, None)]).unwrap_err();
        assert!(said.contains("the others need not"), "{said}");
        assert_eq!(load(Some(home.path()), true).0.len(), 2);
        // One that is ended does.
        let said = keeper.keep(&[phone(1, None), phone(3, None)]).unwrap_err();
        assert!(said.contains("every phone must be paired again"), "{said}");
        assert!(load(Some(home.path()), true).0.is_empty());
        // There is room again.
        fs::remove_dir_all(home.path().join(format!(".{PHONES}.new"))).unwrap();
        keeper.keep(&[phone(1, None), phone(3, None)]).unwrap();
        assert_eq!(load(Some(home.path()), true).0.len(), 2);
    }

    #[test]
    fn a_damaged_file_is_set_aside_and_nobody_is_paired() {
        let home = tempfile::tempdir().unwrap();
        for (n, text) in
            ["phone = 3", "[[phone]]\nnumber = 1\nticket = \"xyz\"", "\u{0}"].iter().enumerate()
        {
            fs::write(home.path().join(PHONES), text).unwrap();
            let (phones, _, trouble) = load(Some(home.path()), true);
            assert!(phones.is_empty() && trouble.unwrap().contains("damaged"), "{text}");
            assert!(home.path().join(format!("{PHONES}.damaged-{}", n + 1)).exists());
        }
    }
}
