//! One POST to one address, with a time limit.

use std::time::Duration;

use reckon::words;

use reqwest::{
    Client,
    header::{CONTENT_TYPE, HeaderMap, HeaderName, HeaderValue, RETRY_AFTER},
    redirect::Policy,
};

use crate::{
    Now,
    payload::Notification,
    queue::{Attempt, FIRST_WAIT},
    response,
    template::Template,
    tls::{self, Roots},
};

/// Where notifications are posted, as the settings tell, checked.
#[derive(Clone, Debug)]
pub struct Webhook {
    url: reqwest::Url,
    template: Template,
    headers: HeaderMap,
    limit: Duration,
    first_wait: Duration,
    roots: Roots,
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
        let url =
            reqwest::Url::parse(url).map_err(|why| words::warning::bad_address(&url, &why))?;
        match url.scheme() {
            "http" => {}
            "https" if tls::IS_IN => {}
            "https" => {
                return Err(words::warning::needs_encryption(&url));
            }
            other => return Err(words::warning::not_http(&other)),
        }
        let mut all = HeaderMap::new();
        all.insert(CONTENT_TYPE, HeaderValue::from_static(template.content_type()));
        for (name, value) in headers {
            let wrong = || words::warning::bad_header(&name);
            let name = HeaderName::from_bytes(name.as_bytes()).map_err(|_| wrong())?;
            let mut value = HeaderValue::from_str(value).map_err(|_| wrong())?;
            // A key must not turn up in a log.
            value.set_sensitive(true);
            all.insert(name, value);
        }
        let roots = Roots::default();
        Ok(Self { url, template, headers: all, limit, first_wait: FIRST_WAIT, roots })
    }

    /// Whether certificates matter to it.
    #[must_use]
    pub fn is_encrypted(&self) -> bool {
        self.url.scheme() == "https"
    }

    /// The same, believing certificates that these sign and no others: for a server of one's own.
    ///
    /// # Errors
    /// A sentence, where this is no list of certificates in PEM.
    pub fn believing_only(self, pem: &[u8]) -> Result<Self, String> {
        Ok(Self { roots: Roots::only(pem)?, ..self })
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
        notification: &Notification,
        now: &Now,
    ) -> Attempt {
        let client = match client {
            Some(client) => client,
            none => match self.new_client(now) {
                Ok(made) => none.insert(made),
                Err(why) => return Attempt::Unanswered(why),
            },
        };
        let request = client
            .post(self.url.clone())
            .headers(self.headers.clone())
            .body(self.template.fill(notification));
        match request.send().await {
            Ok(answer) => {
                let after = answer.headers().get(RETRY_AFTER).and_then(|value| value.to_str().ok());
                Attempt::Answered(response::judge(
                    answer.status().as_u16(),
                    after,
                    now().believed(),
                ))
            }
            Err(why) => {
                let refused = self.roots.why_refused(&why, now());
                Attempt::Unanswered(refused.unwrap_or_else(|| reason(&why)))
            }
        }
    }

    /// No connection is kept for later (the network of a field comes and goes), and no redirection
    /// is followed.
    fn new_client(&self, now: &Now) -> Result<Client, String> {
        let client = Client::builder()
            .timeout(self.limit)
            .redirect(Policy::none())
            .pool_max_idle_per_host(0)
            .user_agent(concat!("outlast/", env!("CARGO_PKG_VERSION")));
        let client = if self.is_encrypted() {
            self.roots.encrypt(client, now)?
        } else {
            tls::plain(client)?
        };
        client.build().map_err(|why| reason(&why))
    }
}

/// A client for addresses without encryption, such as the daemon's own socket.
///
/// # Errors
/// A sentence, where this build cannot make one.
pub fn plain_client() -> Result<reqwest::ClientBuilder, String> {
    tls::plain(Client::builder())
}

/// Why nobody answered, without the address: it may hold a key.
fn reason(why: &reqwest::Error) -> String {
    if why.is_timeout() {
        words::warning::TOO_SLOW.to_owned()
    } else if why.is_connect() {
        words::warning::UNREACHABLE.to_owned()
    } else {
        words::warning::BROKE_OFF.to_owned()
    }
}
