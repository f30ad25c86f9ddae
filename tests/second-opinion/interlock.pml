/*
 * The interlock against a hostile world, written a second time from its rules (docs/rules.md,
 * SW-I1 to SW-I6) and from the world of docs/exploration.md, for the model checker spin. It
 * shares no code with the supervisor or the exploration. What the gears say (forbidden lock sets,
 * overlaps, what cannot slip, what is at rest) is in driveline.h, which the host writes from its
 * exact kinematics; every lock is a friction lock with a switch.
 *
 * Any lock may be wanted open, filled or closed in every tick. A tick is one atomic step, so the
 * states that spin stores are those between two ticks. A question that cannot change what
 * follows is not asked.
 *
 * A reset comes between two ticks. A cold one forgets all; a warm one leaves a trace, which is the
 * interlock's memory. Either way the orders stand until the first tick after it.
 *
 * Planted defects: -DNO_I1 to -DNO_I4 and -DNO_I6 leave one rule out; -DKEEPS_ALL keeps after a
 * reset whatever is shown closed, granted before or not; -DNO_TIME believes a switch that says
 * open before the lock has had its time. Leaving SW-I5 out cannot be seen here: any lock may be
 * let go anyway, and nothing is followed beyond a forbidden lock set.
 */
#include "driveline.h"

#ifndef FAULTS
#define FAULTS 0	/* most faults in one history */
#endif

#define ALL            ((1 << LOCKS) - 1)
#define one(i)         (1 << (i))
#define has(set, i)    (((set) >> (i)) & 1)
#define without(a, b)  ((a) & (ALL ^ (b)))
#define within(a, b)   (((a) & (b)) == (a))
#define several(set)   (((set) & ((set) - 1)) != 0)

/* A lock in truth. */
#define OPEN    0
#define PRESSED 1	/* may slip or hold */
#define HOLDS   2
#define LEAVING 3	/* let go, may still hold */

/* Faults that stay. */
#define STUCK_OPEN   1
#define STUCK_CLOSED 2
#define SAYS_OPEN    3
#define SAYS_CLOSED  4

/* What is seen of a slip. */
#define NOT_ASKED 0
#define UNKNOWN   1
#define STILL     2
#define APART     3

/* What must always hold, a bit each; 16 and 32 are about the decision. */
#define EX_CONFLICT 1
#define EX_SLIP     2
#define EX_REST     4
#define EX_ENGINE   8
#define EX_ONE      64
#define EX_DENY     128

/* The world. */
byte truth[LOCKS];
byte leaving[LOCKS];	/* ticks since it was let go */
byte fault[LOCKS];
byte faults;		/* how many there have been */
byte closing, filling;	/* orders in force */

/* The interlock's memory. */
bit awake;		/* a tick has passed since the reset */
byte granted;		/* closings that passed in the last tick */
byte open_for[LOCKS];	/* ticks since it was last pressed, as far as anyone counts */

/* What was broken. Nothing is followed beyond it. */
byte verdict;

/* Used within a tick only. */
hidden byte i, c;
hidden byte no_slip, at_rest, said_open, said_closed;
hidden byte slip[LOCKS];
hidden byte kept, to_close, wanted, fresh, near, ready, held, rest;
/* Used within a d_step only: spin does not restore what is hidden when it steps back over one. */
hidden byte j, k, keep, releasing, passed, before, pressed, begun;

#define ordered(i) (has(closing, i) || has(filling, i))

/* The conditions of a closing, each of which may be left out. */
#ifdef NO_I1
#define I1 1
#else
#define I1 within(fresh, ready)
#endif
#ifdef NO_I2
#define I2 1
#else
#define I2 (!FORBIDDEN_WITH(fresh, near))
#endif
#ifdef NO_I3
#define I3 1
#else
#define I3 within(held, rest)
#endif
#ifdef NO_I4
#define I4 1
#else
#define I4 (!several(fresh))
#endif
#ifdef NO_I6
#define I6 1
#else
#define I6 (!(ENGINE_JOINED(near) && OVERLAPS(near)))
#endif
#ifdef KEEPS_ALL
#define MAY_KEEP ALL
#else
#define MAY_KEEP granted
#endif
#ifdef NO_TIME
#define TIME_OVER(i) 1
#else
#define TIME_OVER(i) (open_for[i] >= RELEASE)
#endif

/* A fault of some lock that has none: one that stays, or opening by itself. */
inline some_fault()
{
	select (i : 0 .. LOCKS - 1);
	if
	:: fault[i] == 0 ->
		faults++;
		if
		:: fault[i] = STUCK_OPEN; truth[i] = OPEN; leaving[i] = 0
		:: fault[i] = STUCK_CLOSED
		:: fault[i] = SAYS_OPEN
		:: fault[i] = SAYS_CLOSED
		:: truth[i] = OPEN; leaving[i] = 0
		fi
	:: else
	fi
}

/* One lock under the orders in force, in its own time. */
inline move(i)
{
	if
	:: ordered(i) && truth[i] == OPEN && fault[i] == STUCK_OPEN
	:: ordered(i) && truth[i] == OPEN && fault[i] != STUCK_OPEN -> truth[i] = PRESSED
	:: ordered(i) && truth[i] == LEAVING -> truth[i] = PRESSED; leaving[i] = 0
	:: ordered(i) && truth[i] == PRESSED
	:: has(closing, i) && truth[i] == PRESSED -> truth[i] = HOLDS
	:: ordered(i) && truth[i] == HOLDS
	:: !ordered(i) && truth[i] == OPEN
	/* What is stuck closed takes hold instead of letting go. */
	:: !ordered(i) && truth[i] != OPEN && fault[i] == STUCK_CLOSED ->
		truth[i] = HOLDS; leaving[i] = 0
	:: !ordered(i) && truth[i] != OPEN && fault[i] != STUCK_CLOSED ->
		truth[i] = OPEN; leaving[i] = 0
	:: !ordered(i) && truth[i] != OPEN && fault[i] != STUCK_CLOSED && leaving[i] + 1 < RELEASE ->
		truth[i] = LEAVING; leaving[i]++
	fi
}

/* The word of a switch. One that is between its positions may have none. */
inline word(i)
{
	if
	:: fault[i] == SAYS_OPEN -> said_open = said_open | one(i)
	:: fault[i] == SAYS_CLOSED -> said_closed = said_closed | one(i)
	:: fault[i] < SAYS_OPEN && truth[i] <= PRESSED -> said_open = said_open | one(i)
	:: fault[i] < SAYS_OPEN && truth[i] >= HOLDS -> said_closed = said_closed | one(i)
	:: fault[i] < SAYS_OPEN && truth[i] == LEAVING
	fi
}

/* What is seen of a slip: nothing, or the truth within what the gears allow. */
inline look(i)
{
	if
	:: slip[i] != NOT_ASKED
	:: slip[i] == NOT_ASKED -> slip[i] = UNKNOWN
	:: slip[i] == NOT_ASKED -> slip[i] = STILL
	:: slip[i] == NOT_ASKED && !has(no_slip, i) -> slip[i] = APART
	fi
}

/* The locks' part of a tick, and what the switches say then. */
inline world()
{
	if
	:: skip
	:: faults < FAULTS -> some_fault()
	fi;
	for (i : 0 .. LOCKS - 1) { move(i) }
	c = 0;
	for (i : 0 .. LOCKS - 1) {
		if
		:: truth[i] == HOLDS -> c = c | one(i)
		:: else
		fi;
		slip[i] = NOT_ASKED
	}
	no_slip = NO_SLIP(c); at_rest = AT_REST(c);
	said_open = 0; said_closed = 0;
	for (i : 0 .. LOCKS - 1) { word(i) }
}

/* The first tick after a reset: of the locks that were granted before, as the trace has them,
   those that switch and speeds both show closed are kept, unless they hold what must turn. */
inline wake()
{
	kept = 0;
	for (i : 0 .. LOCKS - 1) {
		if
		:: has(MAY_KEEP & said_closed, i) ->
			look(i);
			kept = (slip[i] == STILL -> kept | one(i) : kept)
		:: else
		fi
	}
	granted = (FORBIDDEN(kept) -> 0 : kept);
	awake = 1
}

/* Whatever a decision may want. */
inline want_anything()
{
	to_close = 0; wanted = 0;
	for (i : 0 .. LOCKS - 1) {
		if
		:: skip
		:: wanted = wanted | one(i)
		:: wanted = wanted | one(i); to_close = to_close | one(i)
		fi
	}
}

/* What the rules need to know of the speeds. */
inline look_at_speeds()
{
	/* SW-I5 looks at forbidden sets that order and switch say are closed. */
	for (c : 0 .. CONFLICTS - 1) {
		if
		:: within(CONFLICT(c), said_closed | granted) ->
			for (i : 0 .. LOCKS - 1) {
				if
				:: has(CONFLICT(c), i) -> look(i)
				:: else
				fi
			}
		:: else
		fi
	}
	fresh = without(wanted, granted);
	/* Not surely open: said so and long enough let go. */
	near = granted | fresh; ready = 0; rest = 0;
	for (i : 0 .. LOCKS - 1) {
		if
		:: !has(said_open, i) || !TIME_OVER(i) -> near = near | one(i)
		:: else
		fi
	}
	held = HELD_BY(fresh, near);
	if
	:: !I4
	:: I4 ->
		for (i : 0 .. LOCKS - 1) {
			if
			:: skip
			:: has(fresh, i) && slip[i] != UNKNOWN -> ready = ready | one(i)
			fi
		}
		for (i : 0 .. MACHINES - 1) {
			if
			:: has(held, i) -> rest = rest | one(i)
			:: !has(held, i) || !has(at_rest, i)
			fi
		}
	fi
}

/* SW-I5: a forbidden set found held lets go of one lock; of the next one only when none of the
   set is on its way out any more. */
inline let_go()
{
	keep = wanted & granted;
	releasing = 0;
	for (j : 0 .. LOCKS - 1) {
		if
		:: !has(granted, j) && open_for[j] < RELEASE + DEBOUNCE -> releasing = releasing | one(j)
		:: else
		fi
	}
	for (k : 0 .. CONFLICTS - 1) {
		begun = 0;
		for (j : 0 .. LOCKS - 1) {
			if
			:: slip[j] == STILL && has(said_closed | granted, j) -> begun = begun | one(j)
			:: else
			fi
		}
		if
		:: within(CONFLICT(k), begun) && !(CONFLICT(k) & without(releasing | granted, keep)) ->
			if
			:: has(keep, RELEASE_FIRST(k)) -> keep = keep - one(RELEASE_FIRST(k))
			:: else ->
				/* The lowest of those that are ours to let go. */
				begun = keep & CONFLICT(k);
				keep = keep - (begun & (0 - begun))
			fi
		:: else
		fi
	}
}

/* Rule and judge: the closing that passes, the orders, and what they break. */
inline rule_and_judge()
{
	let_go();
	passed = keep;
	if
	:: fresh != 0 && I1 && I2 && I3 && I4 && I6 -> passed = keep | fresh
	:: else
	fi;
	before = closing;
	closing = passed & to_close;
	filling = without(passed, to_close);
	granted = closing;
	pressed = passed;
	for (j : 0 .. LOCKS - 1) {
		open_for[j] = (has(passed, j) -> 0 :
			(open_for[j] < RELEASE + DEBOUNCE -> open_for[j] + 1 : open_for[j]));
		if
		:: truth[j] != OPEN -> pressed = pressed | one(j)
		:: else
		fi
	}
	begun = without(passed, before);
	verdict =
		(FORBIDDEN(pressed) -> EX_CONFLICT : 0) |
		(within(begun, ready) -> 0 : EX_SLIP) |
		(within(HELD_BY(begun, pressed), rest) -> 0 : EX_REST) |
		(begun && ENGINE_JOINED(pressed) && OVERLAPS(pressed) -> EX_ENGINE : 0) |
		(several(begun) -> EX_ONE : 0) |
		(within(passed, wanted) -> 0 : EX_DENY);
	if
	:: verdict != 0 ->
		/* One state for all that is broken. */
		for (j : 0 .. LOCKS - 1) { truth[j] = 0; leaving[j] = 0; fault[j] = 0; open_for[j] = 0 }
		faults = 0; closing = 0; filling = 0; awake = 0; granted = 0
	:: else
	fi
}

/* A reset that leaves no trace. */
inline cold_reset()
{
	granted = 0;
	for (j : 0 .. LOCKS - 1) { open_for[j] = 0 }
	awake = 0
}

active proctype driveline()
{
end:	do
	:: atomic {
		verdict == 0 ->
		world();
		if
		:: awake
		:: !awake -> wake()
		fi;
		want_anything();
		look_at_speeds();
		skip;
		d_step { rule_and_judge(); skip };
		assert(!(verdict & EX_CONFLICT));
		assert(!(verdict & EX_SLIP));
		assert(!(verdict & EX_REST));
		assert(!(verdict & EX_ENGINE));
		assert(!(verdict & EX_ONE));
		assert(!(verdict & EX_DENY));
		verdict = (verdict -> 1 : 0)
	}
	:: atomic { verdict == 0 -> d_step { cold_reset() } }
	:: atomic { verdict == 0 -> awake = 0 }	/* a warm one */
	od
}
