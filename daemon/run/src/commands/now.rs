//! `now` and `pin`: ask the running outlast over its Unix socket.

use std::{
    io::ErrorKind,
    path::{Path, PathBuf},
    time::Duration,
};

use serde::Deserialize;

use reckon::words;

use crate::{
    commands::{cli::Look, failed::Failed},
    host::{
        banner::{self, print},
        folders, qr,
    },
};

/// Where the running outlast gives its glance, on its socket only.
pub(crate) const GLANCE: &str = "/glance";
/// Where it tells its address for phones, if there is one, on its socket only.
pub(crate) const FOR_PHONES: &str = "/for-phones";
/// A daemon that does not answer within this is not well.
const PATIENCE: Duration = Duration::from_secs(5);

/// One glance.
pub(crate) fn now(look: &Look) -> Result<(), Failed> {
    let body = get(look, if look.json { "/api/v1/now" } else { GLANCE })?;
    print(&format!("{}\n", body.trim_end()));
    Ok(())
}

/// The code that pairs a phone.
pub(crate) fn pin(look: &Look) -> Result<(), Failed> {
    let body = get(look, "/api/v1/pin")?;
    if look.json {
        print(&format!("{}\n", body.trim_end()));
        return Ok(());
    }
    let pin: Pin = read(&body)?;
    print(&words::terminal::pin(&words::in_groups(&pin.code), (pin.good_for_s / 60.0).ceil()));
    // One of another version may not tell it; the digits do without.
    let address = get(look, FOR_PHONES).ok().filter(|it| qr::shown_here() && !it.is_empty());
    if let Some(address) = address {
        print(&banner::scanned(&format!("{address}pair?code={}", pin.code)));
    }
    Ok(())
}

fn read<'a, T: Deserialize<'a>>(body: &'a str) -> Result<T, Failed> {
    let told = |why| words::terminal::other_version(&why);
    serde_json::from_str(body).map_err(|why| Failed::from(told(why)))
}

/// What the outlast that runs here says under this path.
pub(crate) fn here(path: &str) -> Result<String, Failed> {
    get(&Look { json: false, socket: None }, path)
}

/// Asks for one page.
fn get(look: &Look, path: &str) -> Result<String, Failed> {
    let socket = find(look.socket.as_deref())?;
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
    let runtime = runtime.map_err(|why| words::terminal::no_thread(&why))?;
    let client = alert::plain_client()?.unix_socket(socket.as_path()).timeout(PATIENCE);
    let answer = runtime.block_on(async {
        let answer = client.build()?.get(format!("http://localhost{path}")).send().await?;
        answer.error_for_status()?.text().await
    });
    Ok(answer.map_err(|why| no_answer(&socket, &why))?)
}

pub(crate) fn no_answer(socket: &Path, why: &reqwest::Error) -> String {
    let deeper = std::iter::successors(Some(why as &dyn std::error::Error), |e| e.source());
    let reason = deeper.last().map_or_else(String::new, ToString::to_string);
    words::terminal::no_answer(&socket.display(), &reason)
}

/// The socket of a running outlast.
pub(crate) fn find(told: Option<&Path>) -> Result<PathBuf, Failed> {
    let places = told.map_or_else(folders::socket_places, |path| vec![path.to_path_buf()]);
    let mut denied = None;
    for place in &places {
        match std::os::unix::net::UnixStream::connect(place) {
            Ok(_) => return Ok(place.clone()),
            Err(why) if why.kind() == ErrorKind::PermissionDenied => denied = Some(place),
            Err(_) => {}
        }
    }
    Err(Failed::from(match denied {
        Some(place) => words::terminal::not_allowed(&place.display()),
        None => words::terminal::NOT_RUNNING.to_owned(),
    }))
}

/// What we read of `/api/v1/pin`.
#[derive(Deserialize)]
struct Pin {
    code: String,
    good_for_s: f64,
}
