//! Serves a router on a socket with limits that a phone never meets and a nuisance does: so many
//! connections at a time, so many of them from one address, so long for a request's head, so much
//! for its size.

use std::{
    collections::HashMap,
    convert::Infallible,
    io,
    net::{IpAddr, SocketAddr},
    sync::Arc,
    time::Duration,
};

use axum::{Router, body::Body, extract::ConnectInfo};
use hyper::{
    Request,
    body::Incoming,
    server::conn::http1,
    service::{HttpService, service_fn},
};
use hyper_util::{
    rt::{TokioIo, TokioTimer},
    server::graceful::GracefulShutdown,
    service::TowerToHyperService,
};
use reckon::words;
use tokio::{
    io::{AsyncRead, AsyncWrite},
    net::{TcpListener, UnixListener},
    sync::{Semaphore, watch},
    time::{sleep, timeout},
};

/// For the head of a request; also how long an idle connection may stay.
const HEAD_WITHIN: Duration = Duration::from_secs(20);
/// A head larger than this is refused.
const HEAD_BYTES: usize = 16 * 1024;
/// After the word to stop, running answers get this long.
const STOP_WITHIN: Duration = Duration::from_secs(2);

/// After this long without a sign of life from the other side a connection is given up.
const UNHEARD_MS: u32 = 60_000;

/// Upper limit of connections of one address, besides a quarter of all seats. A browser opens six at
/// most to one host (common practice, no source). The loopback address is not exempt: behind a
/// tunnel or proxy sits everybody.
const FROM_ONE_ADDRESS: usize = 16;

/// Who sits there: each connection holds a copy of its address's token, which counts them without a
/// lock. A Unix socket has no address, and its own few seats.
#[derive(Default)]
struct Guests(HashMap<IpAddr, Arc<()>>);

impl Guests {
    /// `None` when this address has its share already.
    fn seat(&mut self, from: IpAddr, most: usize) -> Option<Arc<()>> {
        self.0.retain(|_, token| Arc::strong_count(token) > 1);
        let token = self.0.entry(from.to_canonical()).or_default();
        (Arc::strong_count(token) <= most).then(|| Arc::clone(token))
    }
}

/// Something that connections come in on.
pub(crate) trait Door {
    /// A connection.
    type Stream: AsyncRead + AsyncWrite + Unpin + Send + 'static;
    /// Waits for the next one, and says from where it comes.
    async fn next(&self) -> io::Result<(Self::Stream, Option<SocketAddr>)>;
}

impl Door for TcpListener {
    type Stream = tokio::net::TcpStream;
    async fn next(&self) -> io::Result<(Self::Stream, Option<SocketAddr>)> {
        let (stream, peer) = self.accept().await?;
        // A page is small and wanted now.
        stream.set_nodelay(true)?;
        // A phone that walked out of reach gives its seat back in a minute, not in a quarter of an
        // hour. A kernel that cannot do this serves all the same.
        let _ = rustix::net::sockopt::set_tcp_user_timeout(&stream, UNHEARD_MS);
        Ok((stream, Some(peer)))
    }
}

impl Door for UnixListener {
    type Stream = tokio::net::UnixStream;
    async fn next(&self) -> io::Result<(Self::Stream, Option<SocketAddr>)> {
        self.accept().await.map(|(stream, _)| (stream, None))
    }
}

/// Serves until `stop` says so, then lets running answers end.
pub(crate) async fn serve(
    door: impl Door,
    router: Router,
    seats: usize,
    mut stop: watch::Receiver<bool>,
) {
    let (mut guests, most) = (Guests::default(), (seats / 4).clamp(2, FROM_ONE_ADDRESS));
    let seats = Arc::new(Semaphore::new(seats));
    let graceful = GracefulShutdown::new();
    let mut said = false;
    loop {
        let come = async {
            let seat = Arc::clone(&seats).acquire_owned().await;
            (seat, door.next().await)
        };
        let (seat, stream) = tokio::select! {
            come = come => come,
            _ = stop.wait_for(|stop| *stop) => break,
        };
        let (stream, peer) = match stream {
            Ok(come) => {
                said = false;
                come
            }
            Err(why) => {
                // Out of file handles, or a connection that went away before it was taken.
                if !said {
                    tracing::warn!("{}", words::journal::no_connection(&why));
                    said = true;
                }
                sleep(Duration::from_millis(200)).await;
                continue;
            }
        };
        let seated = peer.map(|peer| guests.seat(peer.ip(), most));
        if matches!(seated, Some(None)) {
            // Closed at once, which costs less than an answer.
            tracing::debug!(?peer, "{}", words::journal::TOO_MANY_CONNECTIONS);
            continue;
        }
        let answer = http1::Builder::new()
            .timer(TokioTimer::new())
            .header_read_timeout(HEAD_WITHIN)
            .max_buf_size(HEAD_BYTES)
            .serve_connection(TokioIo::new(stream), answering(router.clone(), peer));
        let answer = graceful.watch(answer);
        tokio::spawn(async move {
            // A phone that walks out of reach ends its connection in an error every time.
            let _ = answer.await;
            drop((seat, seated));
        });
    }
    if timeout(STOP_WITHIN, graceful.shutdown()).await.is_err() {
        tracing::info!("{}", words::journal::PAGES_CUT_OFF);
    }
}

/// The router, told with each request from where it comes.
fn answering(
    router: Router,
    peer: Option<SocketAddr>,
) -> impl HttpService<Incoming, ResBody = Body, Error = Infallible, Future: Send> {
    let inner = TowerToHyperService::new(router);
    service_fn(move |mut request: Request<Incoming>| {
        if let Some(peer) = peer {
            request.extensions_mut().insert(ConnectInfo(peer));
        }
        hyper::service::Service::call(&inner, request)
    })
}
