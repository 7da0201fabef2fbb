//! How fast Now is while many phones watch: opens live views from as many addresses of the loopback
//! net, asks for the page over and over, and prints the times.
//!
//!   cargo run --release -p outlast --example phones -- 127.0.0.1:8073 [PHONES] [SECONDS]
//!
//! Each page is asked for as a phone does it, packed, over a connection that stands. Every number is
//! measured, the sender's and the receiver's work included.

use std::{
    error::Error,
    io::{BufRead, BufReader, Read, Write},
    net::{SocketAddr, TcpStream},
    sync::{
        Arc,
        atomic::{AtomicUsize, Ordering},
    },
    thread,
    time::{Duration, Instant},
};

use rustix::net::{AddressFamily, SocketType, bind, connect, socket};

/// Between two requests: not a part of a second, so that they fall before and after a new snapshot.
const EVERY: Duration = Duration::from_millis(47);

type Failed = Box<dyn Error + Send + Sync>;

/// Asks from the phone of this number.
fn ask(phone: u8, at: SocketAddr, path: &str) -> Result<BufReader<TcpStream>, Failed> {
    let socket = socket(AddressFamily::INET, SocketType::STREAM, None)?;
    bind(&socket, &SocketAddr::from(([127, 0, 0, 2 + phone], 0)))?;
    connect(&socket, &at)?;
    let mut stream = TcpStream::from(socket);
    stream.set_nodelay(true)?;
    stream.set_read_timeout(Some(Duration::from_secs(30)))?;
    send(&mut stream, at, path)?;
    Ok(BufReader::new(stream))
}

fn send(stream: &mut TcpStream, at: SocketAddr, path: &str) -> Result<(), Failed> {
    let asked = format!("GET {path} HTTP/1.1\r\nHost: {at}\r\nAccept-Encoding: gzip\r\n\r\n");
    Ok(stream.write_all(asked.as_bytes())?)
}

/// Reads a head; the length of the body, where it is told.
fn head(stream: &mut BufReader<TcpStream>) -> Result<usize, Failed> {
    let (mut line, mut length) = (String::new(), 0);
    stream.read_line(&mut line)?;
    if !line.starts_with("HTTP/1.1 200") {
        return Err(line.into());
    }
    while line != "\r\n" {
        line.clear();
        stream.read_line(&mut line)?;
        if let Some(told) = line.to_lowercase().strip_prefix("content-length:") {
            length = told.trim().parse()?;
        }
    }
    Ok(length)
}

/// Follows a live view and counts what comes.
fn watch(phone: u8, at: SocketAddr, events: &AtomicUsize) -> Result<(), Failed> {
    let mut stream = ask(phone, at, "/live")?;
    head(&mut stream)?;
    let mut line = Vec::new();
    while stream.read_until(b'\n', &mut line)? > 0 {
        events.fetch_add(usize::from(line.starts_with(b"data:")), Ordering::Relaxed);
        line.clear();
    }
    Ok(())
}

fn main() -> Result<(), Failed> {
    let mut words = std::env::args().skip(1);
    let at: SocketAddr =
        words.next().ok_or("the address is missing, such as 127.0.0.1:8073")?.parse()?;
    let phones: u8 = words.next().map_or(Ok(20), |word| word.parse())?;
    let span = Duration::from_secs(words.next().map_or(Ok(60), |word| word.parse())?);
    let seen: Vec<Arc<AtomicUsize>> = (0..phones).map(|_| Arc::default()).collect();
    for (phone, events) in (0..phones).zip(&seen) {
        let events = Arc::clone(events);
        thread::spawn(move || {
            if let Err(why) = watch(phone, at, &events) {
                eprintln!("phone {phone}: {why}");
            }
        });
    }
    let mut looker = ask(phones, at, "/")?;
    let (mut body, mut times_ms, began) = (Vec::new(), Vec::new(), Instant::now());
    let mut asked = began;
    while began.elapsed() < span {
        let length = head(&mut looker)?;
        body.resize(length, 0);
        looker.read_exact(&mut body)?;
        times_ms.push(asked.elapsed().as_secs_f64() * 1000.0);
        thread::sleep(EVERY);
        asked = Instant::now();
        send(looker.get_mut(), at, "/")?;
    }
    times_ms.sort_by(f64::total_cmp);
    let least = seen.iter().map(|events| events.load(Ordering::Relaxed)).min().unwrap_or(0);
    if body.is_empty() || (phones > 0 && least == 0) {
        return Err("a phone saw nothing, or the page was empty".into());
    }
    let part = |percent: usize| times_ms[(times_ms.len() - 1) * percent / 100];
    println!(
        "Now while {phones} phones watch:    {:.2} ms at the middle, {:.2} ms at 99 %, {:.2} ms at worst; {} pages of {} bytes, {least} events a phone at least",
        part(50),
        part(99),
        part(100),
        times_ms.len(),
        body.len(),
    );
    Ok(())
}
