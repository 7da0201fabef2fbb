//! One POST to one address, with a time limit.

use std::time::Duration;

use reckon::time::Wall;
use reqwest::{
    Client,
    header::{CONTENT_TYPE, HeaderMap, HeaderName, HeaderValue, RETRY_AFTER},
    redirect::Policy,
};

use crate::{
    answer,
    post::Note,
    queue::{FIRST_WAIT, Outcome},
    template::Template,
};

/// Where notes are posted, as the settings tell, checked.
#[derive(Clone, Debug)]
pub struct Webhook {
    url: reqwest::Url,
    template: Template,
    headers: HeaderMap,
    limit: Duration,
    first_wait: Duration,
}

impl Webhook {
    /// A webhook; `headers` are further ones, such as a key.
    ///
    /// # Errors
    /// A sentence that says what is wrong with the address or a header.
    pub fn new(
        url: &str,
        template: Template,
        headers: &[(String, String)],
        limit: Duration,
    ) -> Result<Self, String> {
        let url = reqwest::Url::parse(url)
            .map_err(|why| format!("{url} is no address of the web: {why}."))?;
        match url.scheme() {
            "http" => {}
            "https" => {
                return Err(format!(
                    "{url} needs encryption, which this build of outlast has been made without."
                ));
            }
            other => return Err(format!("{other} is not http or https.")),
        }
        let mut all = HeaderMap::new();
        all.insert(CONTENT_TYPE, HeaderValue::from_static(template.content_type()));
        for (name, value) in headers {
            let wrong = || format!("{name} is no header that can be sent.");
            let name = HeaderName::from_bytes(name.as_bytes()).map_err(|_| wrong())?;
            let mut value = HeaderValue::from_str(value).map_err(|_| wrong())?;
            // A key must not turn up in a log.
            value.set_sensitive(true);
            all.insert(name, value);
        }
        Ok(Self { url, template, headers: all, limit, first_wait: FIRST_WAIT })
    }

    /// The same with another wait after the first failure; it doubles from there.
    #[must_use]
    pub fn retrying_after(self, first_wait: Duration) -> Self {
        Self { first_wait, ..self }
    }

    pub(crate) const fn first_wait(&self) -> Duration {
        self.first_wait
    }

    /// For a person: the address without anything that could be a key.
    #[must_use]
    pub fn title(&self) -> String {
        let port = self.url.port().map(|port| format!(":{port}")).unwrap_or_default();
        format!("{}://{}{port}", self.url.scheme(), self.url.host_str().unwrap_or("nowhere"))
    }

    /// Posts once. `client` is made at the first need: most outings need none.
    pub(crate) async fn post(
        &self,
        client: &mut Option<Client>,
        note: &Note,
        wall: Option<Wall>,
    ) -> Outcome {
        let client = match client {
            Some(client) => client,
            none => match new_client(self.limit) {
                Ok(made) => none.insert(made),
                Err(why) => return Outcome::Unanswered(reason(&why)),
            },
        };
        let request = client
            .post(self.url.clone())
            .headers(self.headers.clone())
            .body(self.template.fill(note));
        match request.send().await {
            Ok(answer) => {
                let after = answer.headers().get(RETRY_AFTER).and_then(|value| value.to_str().ok());
                Outcome::Answered(answer::judge(answer.status().as_u16(), after, wall))
            }
            Err(why) => Outcome::Unanswered(reason(&why)),
        }
    }
}

/// No connection is kept for later (the network of a field comes and goes), and no redirection is
/// followed.
fn new_client(limit: Duration) -> reqwest::Result<Client> {
    Client::builder()
        .timeout(limit)
        .redirect(Policy::none())
        .pool_max_idle_per_host(0)
        .user_agent(concat!("outlast/", env!("CARGO_PKG_VERSION")))
        .build()
}

/// Why nobody answered, without the address: it may hold a key.
fn reason(why: &reqwest::Error) -> String {
    if why.is_timeout() {
        "it did not answer in time".to_owned()
    } else if why.is_connect() {
        "it cannot be reached".to_owned()
    } else {
        "the connection broke off".to_owned()
    }
}
