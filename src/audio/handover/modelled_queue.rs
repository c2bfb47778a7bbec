//! The queue of the library that the ring is made of, as it promises to be, on
//! loom's atomics: what was put in is seen with the count that says so, and room
//! with the count that gives it back.
//!
//! A slot carries a stamp that is stored without any order, so that a thread
//! which looks at a slot that it was not told of may see an old stamp; that is an
//! error at once.

use std::sync::{Arc, Mutex};

use loom::sync::atomic::{AtomicBool, AtomicU64, AtomicUsize, Ordering};

pub struct HeapRb<T>(Shared<T>);
/// An end remembers its own count, as the library's does. (A thread that looked at
/// it before it stores it would hide from loom that another has looked too.)
pub struct HeapProd<T> {
    shared: Arc<Shared<T>>,
    written: usize,
}
pub struct HeapCons<T> {
    shared: Arc<Shared<T>>,
    read: usize,
}

struct Shared<T> {
    slots: Vec<Slot<T>>,
    /// Taken out and put in, from the beginning.
    read: AtomicUsize,
    written: AtomicUsize,
    read_held: AtomicBool,
    write_held: AtomicBool,
}

struct Slot<T> {
    stamp: AtomicU64,
    /// Loom runs one thread at a time and knows nothing of this lock, so that it
    /// orders nothing.
    value: Mutex<Option<T>>,
}

pub trait Split {
    type Producer;
    type Consumer;
    fn split(self) -> (Self::Producer, Self::Consumer);
}

pub trait Observer {
    fn is_empty(&self) -> bool;
}

pub trait Producer {
    type Item;
    fn try_push(&mut self, item: Self::Item) -> Result<(), Self::Item>;
    fn push_slice(&mut self, items: &[Self::Item]) -> usize;
}

pub trait Consumer {
    type Item;
    fn try_pop(&mut self) -> Option<Self::Item>;
    fn pop_slice(&mut self, items: &mut [Self::Item]) -> usize;
}

impl<T> HeapRb<T> {
    pub fn new(capacity: usize) -> Self {
        let slot = |_| Slot {
            stamp: AtomicU64::new(0),
            value: Mutex::new(None),
        };
        Self(Shared {
            slots: (0..capacity).map(slot).collect(),
            read: AtomicUsize::new(0),
            written: AtomicUsize::new(0),
            read_held: AtomicBool::new(true),
            write_held: AtomicBool::new(true),
        })
    }
}

impl<T> Split for HeapRb<T> {
    type Producer = HeapProd<T>;
    type Consumer = HeapCons<T>;

    fn split(self) -> (HeapProd<T>, HeapCons<T>) {
        let shared = Arc::new(self.0);
        let producer = HeapProd {
            shared: Arc::clone(&shared),
            written: 0,
        };
        (producer, HeapCons { shared, read: 0 })
    }
}

impl<T> Shared<T> {
    fn put(&self, number: usize, item: T) {
        let slot = &self.slots[number % self.slots.len()];
        *slot.value.lock().expect("no panic so far") = Some(item);
        slot.stamp.store(number as u64 + 1, Ordering::Relaxed);
    }

    fn take(&self, number: usize) -> T {
        let slot = &self.slots[number % self.slots.len()];
        let stamp = slot.stamp.load(Ordering::Relaxed);
        assert_eq!(stamp, number as u64 + 1, "a slot is read that is not there");
        let item = slot.value.lock().expect("no panic so far").take();
        item.expect("the stamp says so")
    }
}

impl<T> HeapProd<T> {
    pub fn vacant_len(&self) -> usize {
        self.shared.slots.len() - (self.written - self.shared.read.load(Ordering::Acquire))
    }

    pub fn read_is_held(&self) -> bool {
        self.shared.read_held.load(Ordering::Acquire)
    }
}

impl<T> HeapCons<T> {
    pub fn occupied_len(&self) -> usize {
        self.shared.written.load(Ordering::Acquire) - self.read
    }

    pub fn write_is_held(&self) -> bool {
        self.shared.write_held.load(Ordering::Acquire)
    }
}

impl<T> Observer for HeapProd<T> {
    fn is_empty(&self) -> bool {
        self.vacant_len() == self.shared.slots.len()
    }
}

impl<T> Observer for HeapCons<T> {
    fn is_empty(&self) -> bool {
        self.occupied_len() == 0
    }
}

impl<T: Copy> Producer for HeapProd<T> {
    type Item = T;

    fn try_push(&mut self, item: T) -> Result<(), T> {
        if self.push_slice(&[item]) == 1 {
            Ok(())
        } else {
            Err(item)
        }
    }

    fn push_slice(&mut self, items: &[T]) -> usize {
        let count = items.len().min(self.vacant_len());
        for (n, item) in items[..count].iter().enumerate() {
            self.shared.put(self.written + n, *item);
        }
        self.written += count;
        self.shared.written.store(self.written, Ordering::Release);
        count
    }
}

impl<T: Copy> Consumer for HeapCons<T> {
    type Item = T;

    fn try_pop(&mut self) -> Option<T> {
        if self.is_empty() {
            return None;
        }
        let item = self.shared.take(self.read);
        self.read += 1;
        self.shared.read.store(self.read, Ordering::Release);
        Some(item)
    }

    fn pop_slice(&mut self, items: &mut [T]) -> usize {
        let count = items.len().min(self.occupied_len());
        for (n, item) in items[..count].iter_mut().enumerate() {
            *item = self.shared.take(self.read + n);
        }
        self.read += count;
        self.shared.read.store(self.read, Ordering::Release);
        count
    }
}

impl<T> Drop for HeapProd<T> {
    fn drop(&mut self) {
        self.shared.write_held.store(false, Ordering::Release);
    }
}

impl<T> Drop for HeapCons<T> {
    fn drop(&mut self) {
        self.shared.read_held.store(false, Ordering::Release);
    }
}
