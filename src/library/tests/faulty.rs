//! A disk that dies: every write SQLite, the word index or the curve index makes is counted, and
//! at a chosen one the process is gone, with half of that write done or none of it.

use std::ffi::{CStr, c_char, c_int, c_void};
use std::io::{self, Write};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, Once};

use rusqlite::ffi;
use tantivy::directory::error::{DeleteError, LockError, OpenReadError, OpenWriteError};
use tantivy::directory::{
    AntiCallToken, Directory, DirectoryLock, FileHandle, Lock, TerminatingWrite, WatchCallback,
    WatchHandle, WritePtr,
};

use crate::library::seam::Seam;

static WRITES: AtomicU64 = AtomicU64::new(0);
static DIE_AT: AtomicU64 = AtomicU64::new(u64::MAX);
static TORN: AtomicU64 = AtomicU64::new(0);

/// The way to the disk that dies at write number `die_at`; `torn` leaves half of it behind.
pub(super) fn dying(die_at: u64, torn: bool) -> Seam {
    DIE_AT.store(die_at, Ordering::SeqCst);
    TORN.store(u64::from(torn), Ordering::SeqCst);
    register();
    Seam {
        vfs: Some("counting"),
        directory: Some(|inner| Box::new(Counted(inner))),
        before_write: Some(|_| {
            if next() {
                std::process::abort();
            }
        }),
    }
}

/// Writes so far.
pub(super) fn writes() -> u64 {
    WRITES.load(Ordering::SeqCst)
}

/// Counts a write; `true` if it is the last one.
fn next() -> bool {
    WRITES.fetch_add(1, Ordering::SeqCst) + 1 == DIE_AT.load(Ordering::SeqCst)
}

fn torn() -> bool {
    TORN.load(Ordering::SeqCst) == 1
}

// --- SQLite: its own file layer, with the writing functions of each open file replaced.

struct Tables(Vec<(&'static ffi::sqlite3_io_methods, &'static ffi::sqlite3_io_methods)>);

static TABLES: Mutex<Tables> = Mutex::new(Tables(Vec::new()));
static REGISTER: Once = Once::new();
const NAME: &CStr = c"counting";

fn register() {
    // SAFETY: SQLite's default layer lives as long as the process; ours is a copy of it, leaked,
    // with two functions replaced by ones of the same signature.
    REGISTER.call_once(|| unsafe {
        assert_eq!(ffi::sqlite3_initialize(), ffi::SQLITE_OK);
        let mut layer = *ffi::sqlite3_vfs_find(std::ptr::null());
        layer.zName = NAME.as_ptr();
        layer.pNext = std::ptr::null_mut();
        layer.xOpen = Some(open);
        layer.xDelete = Some(delete);
        let layer = Box::leak(Box::new(layer));
        assert_eq!(ffi::sqlite3_vfs_register(layer, 0), ffi::SQLITE_OK);
    });
}

/// The untouched functions of the file.
unsafe fn plain(file: *mut ffi::sqlite3_file) -> &'static ffi::sqlite3_io_methods {
    let tables = TABLES.lock().unwrap();
    // SAFETY: only files opened by `open` come here, and those hold one of our tables.
    let ours = unsafe { (*file).pMethods };
    tables.0.iter().find(|(_, counted)| std::ptr::eq(*counted, ours)).unwrap().0
}

unsafe extern "C" fn open(
    _layer: *mut ffi::sqlite3_vfs,
    name: ffi::sqlite3_filename,
    file: *mut ffi::sqlite3_file,
    flags: c_int,
    out_flags: *mut c_int,
) -> c_int {
    // SAFETY: the default layer opens the file into the space SQLite gave us for it; the table it
    // sets is static, and so is the copy we put in its place.
    unsafe {
        let default = ffi::sqlite3_vfs_find(std::ptr::null());
        let code = (*default).xOpen.unwrap()(default, name, file, flags, out_flags);
        if (*file).pMethods.is_null() {
            return code;
        }
        let original: &'static ffi::sqlite3_io_methods = &*(*file).pMethods;
        let mut tables = TABLES.lock().unwrap();
        let known = tables.0.iter().find(|(plain, _)| std::ptr::eq(*plain, original));
        let counted = match known {
            Some((_, counted)) => *counted,
            None => {
                let mut methods = *original;
                methods.xWrite = Some(write);
                methods.xTruncate = Some(truncate);
                methods.xSync = Some(sync);
                let counted: &'static _ = Box::leak(Box::new(methods));
                tables.0.push((original, counted));
                counted
            }
        };
        (*file).pMethods = counted;
        code
    }
}

unsafe extern "C" fn write(
    file: *mut ffi::sqlite3_file,
    bytes: *const c_void,
    count: c_int,
    at: ffi::sqlite3_int64,
) -> c_int {
    // SAFETY: SQLite's arguments, passed on; half the count is inside its buffer.
    unsafe {
        let write = plain(file).xWrite.unwrap();
        if next() {
            if torn() {
                write(file, bytes, count / 2, at);
            }
            std::process::abort();
        }
        write(file, bytes, count, at)
    }
}

unsafe extern "C" fn truncate(file: *mut ffi::sqlite3_file, size: ffi::sqlite3_int64) -> c_int {
    if next() {
        std::process::abort();
    }
    // SAFETY: SQLite's arguments, passed on.
    unsafe { plain(file).xTruncate.unwrap()(file, size) }
}

unsafe extern "C" fn sync(file: *mut ffi::sqlite3_file, flags: c_int) -> c_int {
    if next() {
        std::process::abort();
    }
    // SAFETY: SQLite's arguments, passed on.
    unsafe { plain(file).xSync.unwrap()(file, flags) }
}

unsafe extern "C" fn delete(
    _layer: *mut ffi::sqlite3_vfs,
    name: *const c_char,
    sync_folder: c_int,
) -> c_int {
    if next() {
        std::process::abort();
    }
    // SAFETY: SQLite's arguments, passed on to the default layer.
    unsafe {
        let default = ffi::sqlite3_vfs_find(std::ptr::null());
        (*default).xDelete.unwrap()(default, name, sync_folder)
    }
}

// --- The folder of the word index.

#[derive(Debug, Clone)]
struct Counted(Box<dyn Directory>);

impl Directory for Counted {
    fn get_file_handle(&self, path: &Path) -> Result<Arc<dyn FileHandle>, OpenReadError> {
        self.0.get_file_handle(path)
    }

    fn delete(&self, path: &Path) -> Result<(), DeleteError> {
        if next() {
            std::process::abort();
        }
        self.0.delete(path)
    }

    fn exists(&self, path: &Path) -> Result<bool, OpenReadError> {
        self.0.exists(path)
    }

    fn open_write(&self, path: &Path) -> Result<WritePtr, OpenWriteError> {
        if next() {
            std::process::abort();
        }
        let inner = self.0.open_write(path)?;
        Ok(WritePtr::new(Box::new(CountedFile(inner))))
    }

    fn atomic_read(&self, path: &Path) -> Result<Vec<u8>, OpenReadError> {
        self.0.atomic_read(path)
    }

    fn atomic_write(&self, path: &Path, data: &[u8]) -> io::Result<()> {
        if next() {
            std::process::abort();
        }
        self.0.atomic_write(path, data)
    }

    fn sync_directory(&self) -> io::Result<()> {
        if next() {
            std::process::abort();
        }
        self.0.sync_directory()
    }

    fn acquire_lock(&self, lock: &Lock) -> Result<DirectoryLock, LockError> {
        self.0.acquire_lock(lock)
    }

    fn watch(&self, callback: WatchCallback) -> tantivy::Result<WatchHandle> {
        self.0.watch(callback)
    }
}

struct CountedFile(WritePtr);

impl Write for CountedFile {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if next() {
            if torn() {
                self.0.write_all(&bytes[..bytes.len() / 2])?;
                self.0.flush()?;
            }
            std::process::abort();
        }
        self.0.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.0.flush()
    }
}

impl TerminatingWrite for CountedFile {
    fn terminate_ref(&mut self, token: AntiCallToken) -> io::Result<()> {
        if next() {
            std::process::abort();
        }
        self.0.flush()?;
        self.0.get_mut().terminate_ref(token)
    }
}
