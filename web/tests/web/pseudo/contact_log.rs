//! The page of the contact log.

use reckon::words::{ContactLogPage, ENGLISH};

use super::{circled, fixed};

const ENGLISH_PAGE: ContactLogPage = ENGLISH.contact_log;

pub(super) fn page() -> ContactLogPage {
    ContactLogPage {
        title: fixed(ENGLISH_PAGE.title),
        all_outings: fixed(ENGLISH_PAGE.all_outings),
        imported: fixed(ENGLISH_PAGE.imported),
        none_placed: fixed(ENGLISH_PAGE.none_placed),
        import: fixed(ENGLISH_PAGE.import),
        what_is_kept: fixed(ENGLISH_PAGE.what_is_kept),
        what_places_it: fixed(ENGLISH_PAGE.what_places_it),
        or_paste: fixed(ENGLISH_PAGE.or_paste),
        text: fixed(ENGLISH_PAGE.text),
        import_it: fixed(ENGLISH_PAGE.import_it),
        by_mistake: fixed(ENGLISH_PAGE.by_mistake),
        file: |most_mib| circled(&(ENGLISH_PAGE.file)(most_mib)),
        more: |more| circled(&(ENGLISH_PAGE.more)(more)),
        read: |log| circled(&(ENGLISH_PAGE.read)(log)),
        complaint: |complaint| circled(&(ENGLISH_PAGE.complaint)(complaint)),
        contacts: |count| circled(&(ENGLISH_PAGE.contacts)(count)),
        outing_has: |count| circled(&(ENGLISH_PAGE.outing_has)(count)),
        take_out: |count| circled(&(ENGLISH_PAGE.take_out)(count)),
        undated: |part, all| circled(&(ENGLISH_PAGE.undated)(part, all)),
        outing_name: |name, began| match name {
            Some(name) => format!("«{name}»"),
            None => circled(&(ENGLISH_PAGE.outing_name)(None, began)),
        },
    }
}
