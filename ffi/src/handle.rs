//! Handles: entries of one table, named by tokens that are never read through.
//!
//! A token is a tag that no address has, the entry's generation and its place. Looking one up clones the
//! entry's `Arc`: a call that runs keeps what it uses, whatever is released meanwhile, and parents live as
//! long as their children. A released, foreign or mistaken handle is found out by its generation or kind.

use std::any::Any;
use std::collections::VecDeque;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, PoisonError, RwLock};

use crate::call::free_call;
use crate::error::{FITW_E_HANDLE, Fault, fitw_status};

/// An opaque type of the header and what stands behind it.
pub(crate) trait Handle {
    /// What the handle holds.
    type Inner: Any + Send + Sync;
    /// Name in messages.
    const NAME: &'static str;
}

/// Puts a value into the table.
pub(crate) fn insert<H: Handle>(inner: H::Inner) -> Result<*mut H, Fault> {
    let shard = NEXT.fetch_add(1, Ordering::Relaxed) % SHARDS;
    let mut table = TABLE[shard].write().unwrap_or_else(PoisonError::into_inner);
    let index = match table.free.pop_front() {
        Some(index) => index,
        None if table.slots.len() >= PER_SHARD => {
            return Err(Fault::limit("handles", (PER_SHARD * SHARDS) as u64, PER_SHARD as u64));
        }
        None => {
            table.slots.push(Slot { generation: 1, name: "", value: None });
            table.slots.len() - 1
        }
    };
    let slot = &mut table.slots[index];
    slot.name = H::NAME;
    slot.value = Some(Arc::new(inner));
    Ok(token(slot.generation, index, shard) as *mut H)
}

/// What a handle holds.
pub(crate) fn get<H: Handle>(handle: *const H, name: &str) -> Result<Arc<H::Inner>, Fault> {
    let (generation, index, shard) = parse(handle as usize, name, H::NAME)?;
    let table = TABLE[shard].read().unwrap_or_else(PoisonError::into_inner);
    let slot = table.slots.get(index).filter(|s| s.generation == generation);
    let Some(value) = slot.and_then(|s| s.value.clone()) else {
        return Err(bad(name, "a released or foreign handle", H::NAME));
    };
    let found = slot.map_or("", |s| s.name);
    drop(table);
    value.downcast().map_err(|_| bad(name, &format!("a {found}"), H::NAME))
}

/// As [`get`]; NULL is none.
pub(crate) fn optional<H: Handle>(
    handle: *const H,
    name: &str,
) -> Result<Option<Arc<H::Inner>>, Fault> {
    if handle.is_null() { Ok(None) } else { get(handle, name).map(Some) }
}

/// Takes a value out of the table; NULL is no handle and no error.
pub(crate) fn release<H: Handle>(handle: *mut H) -> fitw_status {
    free_call(|| {
        if handle.is_null() {
            return Ok(());
        }
        get(handle, "handle")?;
        let (generation, index, shard) = parse(handle as usize, "handle", H::NAME)?;
        let mut table = TABLE[shard].write().unwrap_or_else(PoisonError::into_inner);
        let slot = table.slots.get_mut(index).filter(|s| s.generation == generation);
        let Some(slot) = slot else { return Err(bad("handle", "a released handle", H::NAME)) };
        let value = slot.value.take();
        slot.generation += 1;
        // A slot whose generations are used up is never used again.
        if slot.generation < GENERATIONS {
            table.free.push_back(index);
        }
        // A host's release callback may call back in: not under the lock.
        drop(table);
        drop(value);
        Ok(())
    })
}

struct Slot {
    generation: usize,
    name: &'static str,
    value: Option<Arc<dyn Any + Send + Sync>>,
}

struct Shard {
    slots: Vec<Slot>,
    free: VecDeque<usize>,
}

fn token(generation: usize, index: usize, shard: usize) -> usize {
    TAG << 48 | generation << 24 | index << 4 | shard
}

fn parse(token: usize, name: &str, kind: &str) -> Result<(usize, usize, usize), Fault> {
    if token == 0 {
        return Err(bad(name, "NULL", kind));
    }
    if token >> 48 != TAG {
        return Err(bad(name, "no handle", kind));
    }
    Ok((token >> 24 & (GENERATIONS - 1), token >> 4 & (PER_SHARD - 1), token & (SHARDS - 1)))
}

fn bad(name: &str, found: &str, kind: &str) -> Fault {
    let message = format!("{name}: found {found}, allowed a {kind} that was not released");
    Fault { status: FITW_E_HANDLE, message, place: name.to_owned() }
}

static NEXT: AtomicUsize = AtomicUsize::new(0);
static TABLE: [RwLock<Shard>; SHARDS] =
    [const { RwLock::new(Shard { slots: Vec::new(), free: VecDeque::new() }) }; SHARDS];

/// Outside the addresses of every 64-bit system, so that even a read through it would stop at once.
const TAG: usize = 0x5f17;
const SHARDS: usize = 1 << 4;
const PER_SHARD: usize = 1 << 20;
const GENERATIONS: usize = 1 << 24;

#[cfg(test)]
mod tests {
    use super::*;

    struct thing;
    impl Handle for thing {
        type Inner = u64;
        const NAME: &'static str = "thing";
    }
    struct other;
    impl Handle for other {
        type Inner = u32;
        const NAME: &'static str = "other";
    }

    #[test]
    fn what_is_no_handle_is_found_out() {
        let a = insert::<thing>(7).expect("room");
        assert_eq!(*get(a, "a").expect("there"), 7);
        assert_eq!(get(a.cast::<other>(), "a").map_err(|f| f.status).err(), Some(FITW_E_HANDLE));
        let local = 3u64;
        for wrong in [std::ptr::null(), (&raw const local).cast::<thing>(), a.wrapping_byte_add(16)]
        {
            assert!(get::<thing>(wrong, "a").is_err());
        }
        assert_eq!(release(a.cast::<other>()), FITW_E_HANDLE);
        assert_eq!(release(a), 0);
        assert_eq!(release(a), FITW_E_HANDLE);
        // The slots are used again; the old token stays dead.
        let again: Vec<_> = (0..64).map(|i| insert::<thing>(i).expect("room")).collect();
        assert!(get(a, "a").is_err() && !again.contains(&a));
        assert!(again.iter().all(|h| release(*h) == 0));
    }
}
