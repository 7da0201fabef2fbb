//! A small web server that behaves as it is told, connection by connection, and keeps what it was
//! sent. Written over plain sockets, so that it can also misbehave.

use std::{
    io::{BufRead, BufReader, Read, Write},
    net::{SocketAddr, TcpListener, TcpStream},
    sync::{Arc, Mutex},
    thread,
    time::Duration,
};

/// What it does with a connection.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Does {
    /// Answers with this status and, if any, this further header line.
    Answers(u16, &'static str),
    /// Takes the request and never answers.
    Hangs,
    /// Takes the request and closes.
    Closes,
}

/// A request as it came.
#[derive(Clone, Debug)]
pub(crate) struct Heard {
    pub(crate) head: String,
    pub(crate) body: String,
}

#[derive(Clone)]
pub(crate) struct Server {
    pub(crate) address: SocketAddr,
    heard: Arc<Mutex<Vec<Heard>>>,
}

impl Server {
    /// Does these in turn, the last one for ever.
    pub(crate) fn doing(script: &'static [Does]) -> Self {
        Self::at("127.0.0.1:0".parse().unwrap(), script)
    }

    pub(crate) fn at(address: SocketAddr, script: &'static [Does]) -> Self {
        Self::through(address, script, |guest| guest)
    }

    /// Each connection goes through `wrap` first.
    pub(crate) fn through<S: Read + Write>(
        address: SocketAddr,
        script: &'static [Does],
        wrap: impl Fn(TcpStream) -> S + Clone + Send + 'static,
    ) -> Self {
        let door = TcpListener::bind(address).unwrap();
        let server = Self { address: door.local_addr().unwrap(), heard: Arc::default() };
        let heard = Arc::clone(&server.heard);
        thread::spawn(move || {
            for (place, guest) in door.incoming().enumerate() {
                let does = script[place.min(script.len() - 1)];
                let (heard, wrap) = (Arc::clone(&heard), wrap.clone());
                thread::spawn(move || serve(wrap(guest.unwrap()), does, &heard));
            }
        });
        server
    }

    pub(crate) fn url(&self) -> String {
        format!("http://{}/warn?key=secret", self.address)
    }

    pub(crate) fn heard(&self) -> Vec<Heard> {
        self.heard.lock().unwrap().clone()
    }
}

fn serve(mut guest: impl Read + Write, does: Does, heard: &Mutex<Vec<Heard>>) {
    let mut reader = BufReader::new(&mut guest);
    let (mut head, mut length) = (String::new(), 0);
    loop {
        let mut line = String::new();
        if reader.read_line(&mut line).unwrap_or(0) == 0 || line == "\r\n" {
            break;
        }
        if let Some(value) = line.to_lowercase().strip_prefix("content-length:") {
            length = value.trim().parse().unwrap();
        }
        head.push_str(&line);
    }
    // A guest that went away before it asked for anything.
    if head.is_empty() {
        return;
    }
    let mut body = vec![0; length];
    reader.read_exact(&mut body).unwrap();
    heard.lock().unwrap().push(Heard { head, body: String::from_utf8(body).unwrap() });
    match does {
        Does::Answers(status, more) => {
            let answer = format!("HTTP/1.1 {status} Thing\r\n{more}Content-Length: 0\r\n\r\n");
            // The client may have gone.
            let _ = guest.write_all(answer.as_bytes());
        }
        Does::Hangs => thread::sleep(Duration::from_secs(60)),
        Does::Closes => {}
    }
}
