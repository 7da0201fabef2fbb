"""Debian's stock kernel, and the sensor drivers that it leaves out, built from Debian's own source.

The result is kept under `cache/kernel-RELEASE/`: `vmlinuz`, `base.cpio.gz` (modules and busybox)
and `provenance.json` (package versions, checksums of every driver source and module).
"""

import gzip
import hashlib
import json
import lzma
import os
import re
import shutil
import subprocess
import tarfile
import time
from pathlib import Path

import cpio

HERE = Path(__file__).resolve().parent
CACHE = HERE / "cache"

# command that must be there -> Debian package that has it
TOOLS = {
    "qemu-system-x86_64": "qemu-system-x86",
    "depmod": "kmod",
    "make": "make",
    "xz": "xz-utils",
    "dpkg-deb": "dpkg",
    "ldd": "libc-bin",
    "strip": "binutils",
}

# Driver sources, as named in the kernel's tree; all taken unmodified.
DRIVERS = {
    "ina2xx": "drivers/hwmon/ina2xx.c",
    "ina238": "drivers/hwmon/ina238.c",
    "ina3221": "drivers/hwmon/ina3221.c",
    "i2c-stub": "drivers/i2c/i2c-stub.c",
    "test_power": "drivers/power/supply/test_power.c",
}

# Modules of the stock kernel that go into the guest, with all they depend on. lm75 is a bystander
# that takes a number among the hardware monitors; virtio_blk and ext4 are for a test that cuts the
# power of a board with a card.
STOCK_MODULES = [
    "virtio_pci", "virtio_console", "virtio_net", "virtio_rng", "i2c-dev",
    "lm75", "virtio_blk", "ext4", "crc32c_generic",
]


class CannotPrepare(Exception):
    """What could not be installed, fetched or built, in words."""


class NotFetched(CannotPrepare):
    """What apt lists but cannot fetch."""


def say(text):
    """A line of progress."""
    print(f"board: {text}", flush=True)


def _run(command, what, **more):
    done = subprocess.run(command, text=True, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, **more)
    if done.returncode != 0:
        tail = "\n".join(done.stdout.strip().splitlines()[-8:])
        raise CannotPrepare(f"{what} failed ({' '.join(map(str, command))}):\n{tail}")
    return done.stdout


def _which(command):
    return shutil.which(command, path=os.environ.get("PATH", "") + ":/usr/sbin:/sbin")


def install(packages):
    """Installs packages with apt; a failure says which and why."""
    if not packages:
        return
    say(f"installing {' '.join(packages)}")
    command = ["apt-get", "-q", "-y", "-o", "DPkg::Lock::Timeout=300", "install", "--no-install-recommends", *packages]
    if os.geteuid() != 0:
        if not _which("sudo"):
            raise CannotPrepare(f"these packages are missing and only root may install them: {' '.join(packages)}")
        command = ["sudo", "-n", *command]
    environment = dict(os.environ, DEBIAN_FRONTEND="noninteractive")
    try:
        _run(command, "installing packages", env=environment)
    except CannotPrepare:
        _update()
        _run(command, "installing packages", env=environment)


def _update():
    command = ["apt-get", "-q", "-o", "DPkg::Lock::Timeout=300", "update"]
    if os.geteuid() != 0:
        command = ["sudo", "-n", *command]
    _run(command, "apt-get update")


def install_tools():
    """What every run needs, cached or not."""
    if not _which("apt-get"):
        raise CannotPrepare("this test takes its kernel from Debian's packages and needs a Debian system with apt-get")
    install(sorted({package for tool, package in TOOLS.items() if not _which(tool)}))


def _versions(package):
    """What apt can fetch of a package, as it lists them."""
    text = _run(["apt-cache", "madison", package], "apt-cache madison")
    return list(dict.fromkeys(line.split("|")[1].strip() for line in text.splitlines() if line.count("|") == 2))


def _complete(meta, version):
    """(release, version, [package=version]) of a meta package's kernel, or None where a part of it is not in the archive."""
    fields = _run(["apt-cache", "show", f"{meta}={version}"], "apt-cache show")
    found = re.search(r"^Depends: (linux-image-(\d[^\s,]*))", fields, re.MULTILINE)
    if not found:
        return None
    image, release = found.groups()
    series = ".".join(release.split(".")[:2])
    # release is 'ABI-flavour'; its headers are split into a flavour's and a common part
    abi, _ = release.rsplit("-", 1)
    packages = [image, f"linux-headers-{release}", f"linux-headers-{abi}-common", f"linux-source-{series}"]
    if not all(version in _versions(package) for package in packages):
        return None
    # The headers ask for the build tools of their version 'or later' (their Depends field):
    # an archive that is being renewed has the tools of the next kernel before its image.
    for tools in (f"linux-kbuild-{series}", f"linux-kbuild-{abi}"):
        for tools_version in _versions(tools):
            if subprocess.run(["dpkg", "--compare-versions", tools_version, "ge", version]).returncode == 0:
                return release, version, [*(f"{package}={version}" for package in packages), f"{tools}={tools_version}"]
    return None


def resolve(meta):
    """(release, version, [package=version]) of the newest kernel behind a meta package that is there whole."""
    for _ in range(2):
        # madison lists the newest first
        for version in _versions(meta):
            whole = _complete(meta, version)
            if whole:
                return whole
        _update()
    raise CannotPrepare(f"apt knows no whole kernel behind {meta}; is Debian's main archive among the sources?")


def _download(folder, wanted):
    """Fetches `package=version` archives into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    try:
        _run(["apt-get", "-q", "-o", "APT::Sandbox::User=root", "download", *wanted], "fetching packages", cwd=folder)
    except CannotPrepare as trouble:
        raise NotFetched(*trouble.args) from trouble


def _sha256(path):
    return hashlib.sha256(path.read_bytes()).hexdigest()


def prepare(meta="linux-image-amd64"):
    """Builds the kernel folder unless it is there; returns it."""
    try:
        return _prepare(meta)
    except NotFetched as trouble:
        # The archive may have gone on since apt's lists were read.
        say(f"reading apt's lists anew ({trouble})")
        _update()
        return _prepare(meta)


def _prepare(meta):
    try:
        release, version, packages = resolve(meta)
    except CannotPrepare as trouble:
        kept = [path.parent for path in CACHE.glob("kernel-*/provenance.json")
                if json.loads(path.read_text())["recipe"] == _recipe()]
        if not kept:
            raise
        say(f"apt cannot be asked, so the kernel built earlier is taken ({trouble})")
        return max(kept, key=lambda folder: (folder / "provenance.json").stat().st_mtime)
    folder = CACHE / f"kernel-{release}"
    if (folder / "provenance.json").exists():
        known = json.loads((folder / "provenance.json").read_text())
        if known["version"] == version and known["recipe"] == _recipe():
            return folder
    began = time.monotonic()
    shutil.rmtree(folder, ignore_errors=True)
    work = CACHE / "work"
    shutil.rmtree(work, ignore_errors=True)
    series = ".".join(release.split(".")[:2])
    say(f"fetching Debian's kernel {release} ({version}), its headers and its source")
    _download(work / "deb", [*packages, "busybox-static"])
    root = work / "root"
    for archive in sorted((work / "deb").glob("*.deb")):
        _run(["dpkg-deb", "-x", archive, root], "unpacking")
    busybox = next((work / "deb").glob("busybox-static_*.deb")).name.split("_")[1].replace("%3a", ":")
    built, sources = _build_drivers(work, root, release, series)
    folder.mkdir(parents=True)
    shutil.copy(root / f"boot/vmlinuz-{release}", folder / "vmlinuz")
    _pack_base(root, release, built, folder / "base.cpio.gz")
    provenance = {
        "release": release,
        "version": version,
        "packages": {**dict(package.split("=") for package in packages), "busybox-static": busybox},
        "driver_sources_sha256": sources,
        "driver_modules_sha256": {module.name: _sha256(module) for module in built},
        "vmlinuz_sha256": _sha256(folder / "vmlinuz"),
        "note": "driver sources are the unmodified files of the linux-source package",
        "recipe": _recipe(),
    }
    (folder / "provenance.json").write_text(json.dumps(provenance, indent=2) + "\n")
    shutil.rmtree(work)
    say(f"kernel and drivers ready after {time.monotonic() - began:.0f} s")
    return folder


def _recipe():
    """Changes when this file does, so that an old cache is not taken for a new one."""
    return hashlib.sha256((HERE / "kernel.py").read_bytes() + (HERE / "cpio.py").read_bytes()).hexdigest()[:16]


def _build_drivers(work, root, release, series):
    """Compiles the drivers as modules against the stock kernel's headers."""
    place = work / "drivers"
    place.mkdir()
    archive = root / f"usr/src/linux-source-{series}.tar.xz"
    wanted = {f"linux-source-{series}/{path}": name for name, path in DRIVERS.items()}
    sources = {}
    with tarfile.open(archive, "r|xz") as tar:
        for member in tar:
            if member.name in wanted:
                text = tar.extractfile(member).read()
                (place / Path(member.name).name).write_bytes(text)
                sources[DRIVERS[wanted.pop(member.name)]] = hashlib.sha256(text).hexdigest()
                if not wanted:
                    break
    if wanted:
        raise CannotPrepare(f"the kernel source package has no {', '.join(sorted(wanted))}")
    (place / "Makefile").write_text("obj-m := " + " ".join(f"{name}.o" for name in DRIVERS) + "\n")
    # The flavour's makefile names the common part by its installed place; point it at ours.
    headers = root / f"usr/src/linux-headers-{release}"
    makefile = headers / "Makefile"
    makefile.write_text(makefile.read_text().replace(" /usr/src/", f" {root}/usr/src/"))
    config = (root / f"boot/config-{release}").read_text()
    compiler = re.search(r'CONFIG_CC_VERSION_TEXT="(\S+) ', config)[1].removeprefix("x86_64-linux-gnu-")
    missing = [] if _which(compiler) else [compiler]
    if not list(Path("/usr/lib").glob("*/libelf.so.1")):
        missing.append("libelf1")
    install(missing)
    say(f"building {', '.join(DRIVERS)} with {compiler}")
    _run(["make", "-C", headers, f"M={place}", f"CC={compiler}", f"-j{os.cpu_count()}", "modules"], "building the drivers")
    return sorted(place.glob("*.ko")), sources


def _pack_base(root, release, built, target):
    """Busybox, the chosen modules and what modprobe needs to find them."""
    tree = root / "lib/modules" / release
    if not tree.exists():
        tree = root / "usr/lib/modules" / release
    extra = tree / "updates"
    extra.mkdir(exist_ok=True)
    for module in built:
        shutil.copy(module, extra)
    _run([_which("depmod"), "-b", tree.parents[2], release], "depmod")
    needs = {}
    for line in (tree / "modules.dep").read_text().splitlines():
        path, _, others = line.partition(":")
        name = Path(path).name.split(".ko")[0].replace("-", "_")
        needs[name] = [path, *others.split()]
    inside = {line.strip().rsplit("/", 1)[-1].split(".ko")[0].replace("-", "_")
              for line in (tree / "modules.builtin").read_text().splitlines()}
    chosen = set()
    for name in [*STOCK_MODULES, *DRIVERS]:
        key = name.replace("-", "_")
        if key in needs:
            chosen.update(needs[key])
        elif key not in inside:
            raise CannotPrepare(f"this kernel has no module {name}")
    guest = root / "guest"
    modules = guest / "lib/modules" / release
    modules.mkdir(parents=True)
    for path in sorted(chosen):
        data = (tree / path).read_bytes()
        if path.endswith(".xz"):
            data, path = lzma.decompress(data), path.removesuffix(".xz")
        (modules / Path(path).name).write_bytes(data)
    for listing in ("modules.builtin", "modules.order", "modules.builtin.modinfo"):
        if (tree / listing).exists():
            shutil.copy(tree / listing, modules)
    _run([_which("depmod"), "-b", guest, release], "depmod for the guest")
    archive = cpio.Archive()
    archive.folder("bin")
    archive.file("bin/busybox", next(root.glob("**/bin/busybox")).read_bytes(), executable=True)
    for path in sorted(modules.iterdir()):
        archive.file(str(path.relative_to(guest)), path.read_bytes())
    target.write_bytes(gzip.compress(archive.bytes(), 1))
