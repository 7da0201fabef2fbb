//! Serves on a socket the router that stands at the moment, with limits that a phone never meets and a
//! nuisance does: so many connections at a time, so many of them from one address, so long for a
//! request's head, so much for its size. Who has to go when all seats are taken is for [`super::seats`].

use std::{
    convert::Infallible,
    io,
    net::SocketAddr,
    pin::Pin,
    task::{Context, Poll, ready},
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
    io::{AsyncRead, AsyncWrite, ReadBuf},
    net::{TcpListener, UnixListener},
    sync::watch,
    time::{sleep, timeout},
};
use web::TicketShown;

use crate::host::seats::{Seats, Stir};

/// For the head of a request; also how long an idle connection may stay.
const HEAD_WITHIN: Duration = Duration::from_secs(20);
/// A head larger than this is refused.
const HEAD_BYTES: usize = 16 * 1024;
/// After the word to stop, running answers get this long.
const STOP_WITHIN: Duration = Duration::from_secs(2);

/// After this long without a sign of life from the other side a connection is given up.
const UNHEARD_MS: u32 = 60_000;

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

/// Serves until `stop` says so, then lets running answers end. The newest router answers each request.
pub(crate) async fn serve(
    door: impl Door,
    router: watch::Receiver<Router>,
    seats: usize,
    mut stop: watch::Receiver<bool>,
) {
    let seats = Seats::new(seats);
    let graceful = GracefulShutdown::new();
    let mut said = false;
    loop {
        let come = tokio::select! {
            come = door.next() => come,
            _ = stop.wait_for(|stop| *stop) => break,
        };
        let (stream, peer) = match come {
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
        let (mut seat, stir) = seats.take(peer.map(|peer| peer.ip()));
        let answer = http1::Builder::new()
            .timer(TokioTimer::new())
            .header_read_timeout(HEAD_WITHIN)
            .max_buf_size(HEAD_BYTES)
            .serve_connection(
                TokioIo::new(Stirring { stream, stir }),
                answering(router.clone(), peer, seats.clone()),
            );
        let answer = graceful.watch(answer);
        tokio::spawn(async move {
            tokio::select! {
                // A phone that walks out of reach ends its connection in an error every time.
                _ = answer => {}
                () = seat.is_needed() => {
                    tracing::debug!(?peer, "{}", words::journal::SEAT_NEEDED);
                }
            }
        });
    }
    if timeout(STOP_WITHIN, graceful.shutdown()).await.is_err() {
        tracing::info!("{}", words::journal::PAGES_CUT_OFF);
    }
}

/// The router, told with each request from where it comes; an answer to a paired phone makes its
/// address known.
fn answering(
    router: watch::Receiver<Router>,
    peer: Option<SocketAddr>,
    seats: Seats,
) -> impl HttpService<Incoming, ResBody = Body, Error = Infallible, Future: Send> {
    service_fn(move |mut request: Request<Incoming>| {
        if let Some(peer) = peer {
            request.extensions_mut().insert(ConnectInfo(peer));
        }
        let inner = TowerToHyperService::new(router.borrow().clone());
        let answer = hyper::service::Service::call(&inner, request);
        let seats = seats.clone();
        async move {
            let answer = answer.await?;
            let shown = answer.extensions().get::<TicketShown>().is_some();
            if let Some(peer) = peer.filter(|_| shown) {
                seats.know(peer.ip());
            }
            Ok(answer)
        }
    })
}

/// A connection that stirs with every byte it brings or takes.
struct Stirring<S> {
    stream: S,
    stir: Stir,
}

impl<S: AsyncRead + Unpin> AsyncRead for Stirring<S> {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let read = ready!(Pin::new(&mut self.stream).poll_read(cx, buf));
        self.stir.stir();
        Poll::Ready(read)
    }
}

impl<S: AsyncWrite + Unpin> AsyncWrite for Stirring<S> {
    fn poll_write(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &[u8],
    ) -> Poll<io::Result<usize>> {
        let written = ready!(Pin::new(&mut self.stream).poll_write(cx, buf));
        self.stir.stir();
        Poll::Ready(written)
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        bufs: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        let written = ready!(Pin::new(&mut self.stream).poll_write_vectored(cx, bufs));
        self.stir.stir();
        Poll::Ready(written)
    }

    fn is_write_vectored(&self) -> bool {
        self.stream.is_write_vectored()
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(cx)
    }
}
