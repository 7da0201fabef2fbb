//! A made-up board in a folder, the daemon started on it, and how to ask it.

use std::{
    fs,
    io::{BufRead, BufReader, Read},
    net::SocketAddr,
    os::unix::fs::symlink,
    path::{Path, PathBuf},
    process::{Child, Command, ExitStatus, Stdio},
    sync::{Arc, Mutex},
    thread,
    time::{Duration, Instant},
};

use serde_json::Value;
use tempfile::TempDir;

pub(crate) const BINARY: &str = env!("CARGO_BIN_EXE_outlast");

/// The top of the tree.
pub(crate) fn tree() -> PathBuf {
    fs::canonicalize(Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")).expect("the tree")
}

/// A made-up board: a folder that is read instead of the root.
pub(crate) struct Board {
    root: TempDir,
}

/// Where the driver's files lie; names and units as the kernel documents them
/// (Documentation/hwmon/sysfs-interface.rst: mV, mA, µW; Documentation/hwmon/ina2xx.rst:
/// shunt_resistor in µΩ).
const CHIP: &str = "sys/devices/platform/soc/fe804000.i2c/i2c-1/1-0040";
const HWMON: &str = "sys/devices/platform/soc/fe804000.i2c/i2c-1/1-0040/hwmon/hwmon2";

impl Board {
    /// A board without any power sensor.
    pub(crate) fn bare() -> Self {
        let board = Self { root: tempfile::tempdir().expect("a folder") };
        board.put("proc/device-tree/model", "Raspberry Pi 4 Model B Rev 1.4\0");
        board.put(
            "proc/stat",
            "cpu  4705 150 1120 16250 520 0 45 0 0 0\ncpu0 4705 150 1120 16250 520 0 45 0 0 0\n",
        );
        board.put("proc/uptime", "228.45 655.20\n");
        board.put("proc/loadavg", "0.42 0.31 0.12 1/143 2211\n");
        board.put("proc/sys/kernel/random/boot_id", "51e0c7aa-1f6e-4c63-8a0d-2b3c4d5e6f70\n");
        board.put("sys/class/thermal/thermal_zone0/type", "cpu-thermal\n");
        board.put("sys/class/thermal/thermal_zone0/temp", "49660\n");
        board.put("sys/devices/system/cpu/cpufreq/policy0/scaling_cur_freq", "1500000\n");
        board
    }

    /// With an INA226 in the bank's lead, read by the kernel's driver: 5.12 V, 0.64 A.
    pub(crate) fn with_sensor() -> Self {
        let board = Self::bare();
        board.put(&format!("{CHIP}/name"), "ina226\n");
        board.put(&format!("{HWMON}/name"), "ina226\n");
        board.put(&format!("{HWMON}/in0_input"), "6\n");
        board.put(&format!("{HWMON}/power1_input"), "3275000\n");
        board.put(&format!("{HWMON}/shunt_resistor"), "10000\n");
        board.reading(5120, 640);
        board.link(&format!("{HWMON}/device"), "../../../1-0040");
        fs::create_dir_all(board.path("sys/bus/i2c/drivers/ina2xx")).expect("a folder");
        board.link(&format!("{CHIP}/driver"), "../../../../../../bus/i2c/drivers/ina2xx");
        board.link(
            "sys/bus/i2c/devices/1-0040",
            "../../../devices/platform/soc/fe804000.i2c/i2c-1/1-0040",
        );
        board.link(
            "sys/class/hwmon/hwmon2",
            "../../devices/platform/soc/fe804000.i2c/i2c-1/1-0040/hwmon/hwmon2",
        );
        board
    }

    /// The sensor says this from now on.
    pub(crate) fn reading(&self, millivolts: i32, milliamps: i32) {
        self.put(&format!("{HWMON}/in1_input"), &format!("{millivolts}\n"));
        self.put(&format!("{HWMON}/curr1_input"), &format!("{milliamps}\n"));
    }

    /// A pipe that nobody writes to is where the sensor's readings should be.
    pub(crate) fn pipe(&self) {
        for name in ["in1_input", "curr1_input"] {
            let path = self.path(&format!("{HWMON}/{name}"));
            let aside = path.with_extension("pipe");
            let made = Command::new("mkfifo").arg(&aside).status().expect("mkfifo is there");
            assert!(made.success());
            fs::rename(aside, path).expect("a pipe in its place");
        }
    }

    /// A device is where the sensor's readings should be.
    pub(crate) fn device(&self, node: &str) {
        for name in ["in1_input", "curr1_input"] {
            let path = self.path(&format!("{HWMON}/{name}"));
            fs::remove_file(&path).expect("a file");
            symlink(node, path).expect("a link");
        }
    }

    /// Files are again where a pipe or a device was, and say this.
    pub(crate) fn back(&self, millivolts: i32, milliamps: i32) {
        for (name, value) in [("in1_input", millivolts), ("curr1_input", milliamps)] {
            let path = self.path(&format!("{HWMON}/{name}"));
            let aside = path.with_extension("file");
            fs::write(&aside, format!("{value}\n")).expect("a file");
            fs::rename(aside, path).expect("in its place");
        }
    }

    /// The driver lets go of the chip: its files vanish.
    pub(crate) fn unbind(&self) {
        fs::remove_file(self.path("sys/class/hwmon/hwmon2")).expect("a link");
        fs::remove_dir_all(self.path(&format!("{CHIP}/hwmon"))).expect("a folder");
    }

    pub(crate) fn put(&self, path: &str, text: &str) {
        let path = self.path(path);
        fs::create_dir_all(path.parent().expect("a folder")).expect("a folder");
        fs::write(path, text).expect("a file");
    }

    fn link(&self, path: &str, to: &str) {
        let path = self.path(path);
        fs::create_dir_all(path.parent().expect("a folder")).expect("a folder");
        symlink(to, path).expect("a link");
    }

    pub(crate) fn path(&self, path: &str) -> PathBuf {
        self.root.path().join(path)
    }
}

/// An empty home, as after a fresh installation.
pub(crate) fn home() -> TempDir {
    tempfile::tempdir().expect("a folder")
}

/// The binary with an empty home and nothing else in its environment.
pub(crate) fn outlast(home: &Path) -> Command {
    let mut command = Command::new(BINARY);
    command.env_clear().env("HOME", home).env("PATH", std::env::var_os("PATH").unwrap_or_default());
    // As the shipped unit has it: otherwise each thread's arena keeps what was once read.
    command.env("MALLOC_MMAP_THRESHOLD_", "131072").env("MALLOC_ARENA_MAX", "1");
    command
}

/// What a command printed and how it ended.
pub(crate) struct Ended {
    pub(crate) code: Option<i32>,
    pub(crate) out: String,
    pub(crate) err: String,
}

pub(crate) fn end_of(command: &mut Command) -> Ended {
    let output = command.stdin(Stdio::null()).output().expect("the binary starts");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("printed text");
    Ended { code: output.status.code(), out: text(output.stdout), err: text(output.stderr) }
}

/// A running daemon; killed when dropped.
pub(crate) struct Daemon {
    child: Child,
    said: Arc<Mutex<String>>,
    pub(crate) at: SocketAddr,
}

impl Daemon {
    /// Starts `run` with these further arguments on a free port and waits until it says where the
    /// page is.
    pub(crate) fn start(home: &Path, arguments: &[&str]) -> Self {
        let mut command = outlast(home);
        command.args(["run", "--listen", "127.0.0.1:0"]).args(arguments);
        Self::of(command)
    }

    /// On this board.
    pub(crate) fn on(board: &Board, home: &Path) -> Self {
        Self::start(home, &["--sysroot", board.root.path().to_str().expect("a path")])
    }

    pub(crate) fn of(mut command: Command) -> Self {
        command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
        let mut child = command.spawn().expect("the binary starts");
        let said = Arc::new(Mutex::new(String::new()));
        listen(child.stdout.take().expect("piped"), &said);
        listen(child.stderr.take().expect("piped"), &said);
        let mut daemon = Self { child, said, at: SocketAddr::from(([127, 0, 0, 1], 0)) };
        let found = daemon.wait_for(Duration::from_secs(20), |daemon| {
            let said = daemon.said();
            let (_, rest) = said.split_once("http://")?;
            rest.split_once("/\n")?.0.parse().ok()
        });
        daemon.at = found;
        daemon
    }

    /// Everything it has printed so far.
    pub(crate) fn said(&self) -> String {
        self.said.lock().expect("not poisoned").clone()
    }

    pub(crate) fn pid(&self) -> u32 {
        self.child.id()
    }

    /// A page: status and body.
    pub(crate) fn get(&self, path: &str) -> (u16, String) {
        get(&format!("http://{}{path}", self.at), None)
    }

    /// The snapshot.
    pub(crate) fn now(&self) -> Value {
        let (status, body) = self.get("/api/v1/now");
        assert_eq!(status, 200, "{body}");
        serde_json::from_str(&body).expect("JSON")
    }

    /// Waits until `look` finds something; fails with everything that was said.
    pub(crate) fn wait_for<T>(
        &mut self,
        patience: Duration,
        look: impl Fn(&Self) -> Option<T>,
    ) -> T {
        let began = Instant::now();
        loop {
            if let Some(found) = look(self) {
                return found;
            }
            if let Some(status) = self.child.try_wait().expect("a child") {
                panic!("outlast ended ({status}) after saying:\n{}", self.said());
            }
            assert!(began.elapsed() < patience, "waited in vain; outlast said:\n{}", self.said());
            thread::sleep(Duration::from_millis(50));
        }
    }

    /// Waits until the snapshot is as wanted, and returns it.
    pub(crate) fn wait_until(&mut self, wanted: impl Fn(&Value) -> bool) -> Value {
        self.wait_for(Duration::from_secs(15), |daemon| {
            Some(daemon.now()).filter(|now| wanted(now))
        })
    }

    pub(crate) fn signal(&self, name: &str) {
        let done =
            Command::new("kill").args([&format!("-{name}"), &self.pid().to_string()]).status();
        assert!(done.expect("kill is there").success());
    }

    /// Ends it with this signal and waits.
    pub(crate) fn end(&mut self, signal: &str) -> ExitStatus {
        self.signal(signal);
        let began = Instant::now();
        loop {
            if let Some(status) = self.child.try_wait().expect("a child") {
                return status;
            }
            assert!(
                began.elapsed() < Duration::from_secs(10),
                "does not end; said:\n{}",
                self.said()
            );
            thread::sleep(Duration::from_millis(20));
        }
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        // It may have ended already, which is all that is wanted.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn listen(from: impl Read + Send + 'static, to: &Arc<Mutex<String>>) {
    let to = Arc::clone(to);
    thread::spawn(move || {
        for line in BufReader::new(from).lines().map_while(Result::ok) {
            let mut said = to.lock().expect("not poisoned");
            said.push_str(&line);
            said.push('\n');
        }
    });
}

pub(crate) fn blocking<T>(work: impl Future<Output = T>) -> T {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .expect("a runtime")
        .block_on(work)
}

fn client(socket: Option<&Path>) -> reqwest::Client {
    let builder = alert::plain_client().expect("a client").timeout(Duration::from_secs(10));
    let builder = match socket {
        Some(path) => builder.unix_socket(path),
        None => builder,
    };
    builder.build().expect("a client")
}

/// Asks for a page, over a Unix socket if one is given.
pub(crate) fn get(url: &str, socket: Option<&Path>) -> (u16, String) {
    blocking(async {
        let answer = client(socket).get(url).send().await.expect("an answer");
        (answer.status().as_u16(), answer.text().await.expect("a body"))
    })
}

/// Posts JSON over the Unix socket, where no pairing is needed.
pub(crate) fn post(socket: &Path, path: &str, body: &Value) -> u16 {
    send(socket, path, "application/json", body.to_string()).0
}

/// Posts over the Unix socket: status and body.
pub(crate) fn send(socket: &Path, path: &str, kind: &str, body: String) -> (u16, String) {
    sent(&client(Some(socket)), &format!("http://localhost{path}"), kind, body)
}

/// Posts over the network.
pub(crate) fn send_to(url: &str, kind: &str, body: String) -> (u16, String) {
    sent(&client(None), url, kind, body)
}

fn sent(client: &reqwest::Client, url: &str, kind: &str, body: String) -> (u16, String) {
    blocking(async {
        let request = client.post(url).header("content-type", kind).body(body);
        let answer = request.send().await.expect("an answer");
        (answer.status().as_u16(), answer.text().await.expect("a body"))
    })
}

/// Where the socket of a daemon with this home is.
pub(crate) fn socket(home: &Path) -> PathBuf {
    home.join(".local/state/outlast/outlast.sock")
}
