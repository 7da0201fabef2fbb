//! The paired phones as JSON. What a ticket says is never among it.

use reckon::time::{Stamp, Wall};

use crate::{
    http::phones::Listed,
    wire::object::{Object, list},
};

/// All of them; `not_kept` is why the list is not on the card, and what a restart will bring.
pub(crate) fn phones<'a>(
    listed: &'a [Listed],
    this: Option<u32>,
    not_kept: Option<&'a str>,
    at: Stamp,
) -> Object<'a> {
    let all = list(listed.iter().map(|it| phone(it, this, at)));
    Object::new().with("phones", all).with("not_kept", not_kept)
}

fn phone(it: &Listed, this: Option<u32>, at: Stamp) -> Object<'_> {
    let phone = &it.phone;
    let time = |wall: Wall| wall.rfc3339(at.utc_offset_s);
    Object::new()
        .with("id", phone.number)
        .with("name", phone.name.as_deref())
        .with("paired_at", phone.paired.and_then(time))
        .with("renewed_at", phone.renewed.and_then(time))
        .with("seen_up_s", it.seen.map(|seen| seen.at.as_s()))
        .with("seen_from", it.seen.and_then(|seen| seen.from).map(|from| from.to_string()))
        .with("this_phone", this == Some(phone.number))
}
