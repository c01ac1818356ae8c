//! The interpreter: the loop, and the registers that go through it.
//!
//! One loop, generic over the decoder and the observer. The handlers of the
//! operation table are beside it, by theme. They work on the machine's own registers;
//! only the loop and what is laid out in it hold them in [`At`], and sync them into the
//! machine before a handler is called.

mod classes;
mod compact;
mod composite;
mod flow;
mod handlers;
mod lists;
mod numeric;
mod own;
mod property;
mod quick;
mod templates;
mod variable;

pub(crate) use handlers::Next;
pub(crate) use numeric::power;

use core::marker::PhantomData;

use quick::{Trail, compares, quick, quick_any};

use crate::Host;
use crate::error::{Raise, RaiseKind, StopKind};
use crate::heap::raw::Window;
use crate::host::{Observer, Outcome, Step, Wanted, Wants};
use crate::layout::Layout;
use crate::value::Value;
use crate::vm::Vm;
use scruple_bytecode::encoding::echo::ECHO;
use scruple_bytecode::encoding::{Byte, Composite, Form, Implied, Leb, VerifiedCode, Word};
use scruple_bytecode::ops::dispatch_any;
use scruple_bytecode::{Decoder, Encoding, Op, Opcode, dispatch};

/// The largest budget.
pub(crate) const MOST_FUEL: u64 = i64::MAX as u64;

/// Where the machine stands.
pub(crate) struct At<L: Layout> {
    /// The slots: stack and heap.
    pub(crate) mem: Window<L::Slot>,
    /// Place in the code section behind the running instruction.
    pub(crate) pc: usize,
    /// Slot of the top of the stack, which grows down.
    pub(crate) sp: usize,
    /// Slot of the frame's slot 0.
    pub(crate) fp: usize,
    /// Operations that may still be carried out.
    pub(crate) fuel: u64,
}

impl<L: Layout> Clone for At<L> {
    #[inline(always)]
    fn clone(&self) -> Self {
        *self
    }
}

impl<L: Layout> Copy for At<L> {}

/// How a machine goes through code.
///
/// A type, not a condition: what a condition leaves out is gone through by the Rust
/// compiler all the same, and that took half of a build.
pub trait Pace {
    /// Runs code of one image, until something other than the next instruction
    /// is to happen. The registers are then synced.
    fn run<D: Decoder, L: Layout, H: Host>(
        vm: &mut Vm<'_, L, H>,
        tally: &mut <H::Observer as Observer>::Tally,
    ) -> Raise;
}

/// By an arm for each opcode byte, in which the usual case is laid out. Debug builds only
/// compile it.
#[cfg_attr(debug_assertions, allow(dead_code, unreachable_pub))]
pub enum LaidOut {}

impl Pace for LaidOut {
    fn run<D: Decoder, L: Layout, H: Host>(
        vm: &mut Vm<'_, L, H>,
        tally: &mut <H::Observer as Observer>::Tally,
    ) -> Raise {
        match L::own_loop() {
            Some(run) if D::ENCODING.has_set() && vm.has_own_handlers() => run(vm, tally),
            _ => D::run_image(vm, tally),
        }
    }
}

/// Instruction by instruction: for an observer that is told of each operation or of the
/// memory, and in debug builds, which look at what each handler did.
pub enum Looking {}

impl Pace for Looking {
    fn run<D: Decoder, L: Layout, H: Host>(
        vm: &mut Vm<'_, L, H>,
        tally: &mut <H::Observer as Observer>::Tally,
    ) -> Raise {
        let code = Window::on_code(vm.current_image().code());
        let mut at = vm.registers();
        loop {
            let Some(fuel) = burn(at.fuel, 1) else { return vm.spent(at) };
            at.fuel = fuel;
            match vm.look::<D>(at, code, tally) {
                Ok(next) => at = next,
                Err(raise) => return raise,
            }
        }
    }
}

/// The loop over arms for a decoder.
///
/// The decoder's, not the machine's, so that the Rust compiler puts the loops into as
/// many units and optimises them side by side.
pub(crate) trait Loop: Decoder + Sized {
    fn run_image<L: Layout, H: Host>(
        vm: &mut Vm<'_, L, H>,
        tally: &mut <H::Observer as Observer>::Tally,
    ) -> Raise {
        let code = Window::on_code(vm.current_image().code());
        let mut at = vm.registers();
        let mut count = *tally;
        let mem = at.mem;
        // An arm for each opcode byte: `$n` is a constant in it, and with it the
        // operation, the length and a folded operand.
        macro_rules! arms {
            ($($n:literal)*) => {
                loop {
                    at.fuel = at.fuel.wrapping_sub(1);
                    if (at.fuel as i64) < 0 {
                        break vm.spent(at);
                    }
                    match code.byte(at.pc) {
                        $($n => match vm.arm::<Self, $n>(at, code, &mut count) {
                            Ok(next) => at = At { mem, ..next },
                            Err(raise) => break raise,
                        },)*
                    }
                }
            };
        }
        let raise = each_byte!(arms);
        *tally = count;
        raise
    }
}

impl<D: Decoder> Loop for D {}

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    #[inline(always)]
    pub(crate) fn registers(&self) -> At<L> {
        At {
            mem: self.heap.mem.window(),
            pc: self.pc,
            sp: self.heap.sp,
            fp: self.fp,
            fuel: self.fuel,
        }
    }

    #[inline(always)]
    pub(crate) fn sync(&mut self, at: At<L>) {
        self.pc = at.pc;
        self.heap.sp = at.sp;
        self.fp = at.fp;
        self.fuel = at.fuel;
    }

    /// Runs from the synced registers until the entry frame returns.
    pub(crate) fn run_loop(&mut self) -> Result<Value<L>, Raise> {
        // The compact loop goes by the encoding that the image names.
        if H::COMPACT {
            return self.run_as::<Word>();
        }
        match self.current_image().encoding() {
            Encoding::Word => self.run_as::<Word>(),
            Encoding::Byte => self.run_as::<Byte>(),
            Encoding::Leb => self.run_as::<Leb>(),
            Encoding::Implied => self.run_as::<Implied>(),
            Encoding::Composite | Encoding::Echo | Encoding::Context => self.run_as::<Composite>(),
        }
    }

    fn run_as<D: Decoder>(&mut self) -> Result<Value<L>, Raise> {
        let mut tally = <H::Observer as Observer>::Tally::default();
        let result = loop {
            let raise = if H::COMPACT {
                self.run_compact(&mut tally)
            } else {
                <Wants<H> as Wanted>::Pace::run::<D, L, H>(self, &mut tally)
            };
            match raise.0 {
                RaiseKind::Switch => {}
                RaiseKind::Finished => break Ok(self.heap.mem_value(self.heap.sp)),
                RaiseKind::Thrown => {
                    if let Err(raise) = self.unwind() {
                        break Err(raise);
                    }
                }
                RaiseKind::Stopped(kind) => break Err(self.note_stop(kind)),
            }
        };
        self.host_mut().observer().absorb(tally);
        result
    }

    /// The instruction to come has no budget left.
    #[inline(always)]
    fn spent(&mut self, at: At<L>) -> Raise {
        self.sync(At { fuel: 0, pc: at.pc + 1, ..at });
        Raise::stop(StopKind::Budget)
    }

    /// Carries out the instruction at the program counter, whose opcode byte is
    /// `BYTE`.
    #[inline(always)]
    fn arm<D: Decoder, const BYTE: u8>(
        &mut self,
        at: At<L>,
        code: Window<u8>,
        count: &mut <H::Observer as Observer>::Tally,
    ) -> Result<At<L>, Raise> {
        if const { D::OWN[BYTE as usize].n_parts() > 0 } {
            return self.own::<D, BYTE>(at, code, count);
        }
        let arm = const { D::ARMS[BYTE as usize] };
        let begin = at.pc;
        let mem = at.mem;
        // No other encoding with a set has code with that byte.
        if const { D::HAS_OWN && BYTE == ECHO } {
            self.sync(at);
            self.own_echo::<D>(begin)?;
            return Ok(self.registers());
        }
        let (bits, next) = D::operand(arm, code, begin);
        <H::Observer as Observer>::count(count, next - begin);
        let here = At { pc: next, ..at };
        if let Form::Wide = arm.form {
            self.sync(here);
            let opcode = code.byte(begin + 1);
            dispatch_any(self, opcode, bits, D::ZIGZAG)?;
            return Ok(self.registers());
        }
        let mut trail = Trail::<L, H, D> { code, count, kinds: PhantomData };
        if const { ArmOf::<D, BYTE>::COMPARES }
            && let Some(after) = trail.compare_and_branch::<1>(here, ArmOf::<D, BYTE>::OP)
        {
            return Ok(after);
        }
        match quick::<ArmOf<D, BYTE>, L, H>(self, here, bits, D::ZIGZAG) {
            Some(after) => Ok(trail.follow::<ArmOf<D, BYTE>>(self, At { mem, ..after })),
            None => {
                self.sync(here);
                self.handle::<ArmOf<D, BYTE>>(bits, D::ZIGZAG)?;
                Ok(self.registers())
            }
        }
    }

    /// Carries out the instruction at the program counter, with all who look on.
    fn look<D: Decoder>(
        &mut self,
        at: At<L>,
        code: Window<u8>,
        count: &mut <H::Observer as Observer>::Tally,
    ) -> Result<At<L>, Raise> {
        let begin = at.pc;
        let arm = D::ARMS[usize::from(code.byte(begin))];
        let (bits, next) = D::operand(arm, code, begin);
        <H::Observer as Observer>::count(count, next - begin);
        let opcode = if arm.form == Form::Wide { code.byte(begin + 1) } else { arm.opcode };
        let op = Op::from_opcode(opcode).unwrap_or(Op::Trap);
        let operand = op.info().operand.from_bits(bits, D::ZIGZAG);
        self.observed::<D>(at, Step { image: self.current, at: begin, next, op, operand }, bits)
    }

    /// Carries out an operation by its handler, on the synced registers.
    ///
    /// Apart from the loop, with the registers in memory: while handlers were laid
    /// out in the arms, what they hand on by reference made every arm put its
    /// registers into memory, needed or not. Cold, so that the head of the loop has
    /// no neighbour that falls into it and can have a cache line of its own (see
    /// `.cargo/config.toml`). User milliseconds of `bench/yardstick` with all that,
    /// before and after, least of fifteen: fib 164, 120; sieve 109, 80; loop 126, 78.
    #[cold]
    #[inline(never)]
    fn handle<A: Opcode>(&mut self, bits: u32, zigzag: bool) -> Next {
        dispatch::<Self, A>(self, bits, zigzag)
    }

    /// Carries out an instruction with the observer before and behind it, and in
    /// debug builds with a look at what the handler did.
    #[inline(never)]
    fn observed<D: Decoder>(&mut self, at: At<L>, step: Step, bits: u32) -> Result<At<L>, Raise> {
        if step.op == Op::Trap {
            // Of a composite, its operations are looked at.
            self.sync(At { pc: step.next, ..at });
            self.composite()?;
            return Ok(self.registers());
        }
        if Wants::<H>::STEPS {
            self.sync(at);
            <H::Observer as Observer>::before(self, step)?;
        }
        let before = At { pc: step.next, ..at };
        // Without an observer, this is a debug build: quick forms are looked at as well.
        // They tell an observer of the memory nothing of the frames they make.
        let quick = if Wants::<H>::STEPS || Wants::<H>::MEMORY {
            None
        } else {
            quick_any(self, before, step.op, bits, D::ZIGZAG)
        };
        let result = match quick {
            Some(after) => {
                self.sync(after);
                Ok(())
            }
            None => {
                self.sync(before);
                dispatch_any(self, step.op as u8, bits, D::ZIGZAG)
            }
        };
        #[cfg(debug_assertions)]
        if result.is_ok() {
            audit(before, self.registers(), Some(step.op), bits, D::ZIGZAG);
        }
        if Wants::<H>::STEPS {
            let outcome = match result {
                Ok(()) => Outcome::Done,
                Err(Raise(RaiseKind::Thrown)) => Outcome::Threw,
                Err(Raise(RaiseKind::Stopped(_))) => Outcome::Stopped,
                Err(Raise(RaiseKind::Switch | RaiseKind::Finished)) => Outcome::Done,
            };
            <H::Observer as Observer>::after(self, step, outcome);
        }
        result?;
        Ok(self.registers())
    }
}

/// Takes `n` operations from the budget, which is never past [`MOST_FUEL`]: so the
/// sign alone tells that there were too few, and the old number need not be kept.
#[inline(always)]
fn burn(fuel: u64, n: u64) -> Option<u64> {
    let left = fuel.wrapping_sub(n);
    if (left as i64) < 0 { None } else { Some(left) }
}

/// The arm of an opcode byte, as a type that carries its opcode.
struct ArmOf<D, const BYTE: u8>(PhantomData<D>);

impl<D: Decoder, const BYTE: u8> ArmOf<D, BYTE> {
    const OP: Option<Op> = Op::from_opcode(D::ARMS[BYTE as usize].opcode);
    const COMPARES: bool = match Self::OP {
        Some(op) => compares(op),
        None => false,
    };
}

impl<D: Decoder, const BYTE: u8> Opcode for ArmOf<D, BYTE> {
    const OPCODE: u8 = D::ARMS[BYTE as usize].opcode;
}

/// Hands every byte to a macro.
macro_rules! each_byte {
    ($arms:ident) => {
        $arms!(0 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16 17 18 19 20 21 22 23 24 25 26 27 28 29 30 31 32 33 34 35 36 37 38 39 40 41 42 43 44 45 46 47 48 49 50 51 52 53 54 55 56 57 58 59 60 61 62 63 64 65 66 67 68 69 70 71 72 73 74 75 76 77 78 79 80 81 82 83 84 85 86 87 88 89 90 91 92 93 94 95 96 97 98 99 100 101 102 103 104 105 106 107 108 109 110 111 112 113 114 115 116 117 118 119 120 121 122 123 124 125 126 127 128 129 130 131 132 133 134 135 136 137 138 139 140 141 142 143 144 145 146 147 148 149 150 151 152 153 154 155 156 157 158 159 160 161 162 163 164 165 166 167 168 169 170 171 172 173 174 175 176 177 178 179 180 181 182 183 184 185 186 187 188 189 190 191 192 193 194 195 196 197 198 199 200 201 202 203 204 205 206 207 208 209 210 211 212 213 214 215 216 217 218 219 220 221 222 223 224 225 226 227 228 229 230 231 232 233 234 235 236 237 238 239 240 241 242 243 244 245 246 247 248 249 250 251 252 253 254 255)
    };
}
use each_byte;

/// Debug builds compare what the table declares with what the handler did.
#[cfg(debug_assertions)]
fn audit<L: Layout>(before: At<L>, after: At<L>, op: Option<Op>, bits: u32, zigzag: bool) {
    use scruple_bytecode::ops::Flow;
    let Some(op) = op else { return };
    let (info, next) = (op.info(), before.pc);
    let operand = info.operand.from_bits(bits, zigzag);
    if before.fp != after.fp {
        // A call has entered a frame, or a return has left one.
        return;
    }
    let taken = info.effect.taken(operand) as usize;
    let left = match info.flow {
        Flow::Stop => return,
        Flow::Branch(pushes) if after.pc != next => pushes as usize,
        _ => info.effect.pushes as usize,
    };
    // A branch to the next instruction may have either effect.
    if matches!(info.flow, Flow::Branch(_)) && operand == 0 {
        return;
    }
    debug_assert_eq!(
        after.sp + left,
        before.sp + taken,
        "{} did not do what the table says",
        op.text().mnemonic
    );
}
