"""Units made by `slipwarden export`, checked by FMPy, the reference checker, and run in it.

units.py validate UNIT...             no problem is found in the description
units.py simulate UNIT                FMPy's own master drives the unit alone
units.py loop PLANT SUPERVISOR CSV N  both, tick by tick, against the trace of `slipwarden drive`;
                                      prints the digest of the plant after N ticks
units.py hostile UNIT                 wrong calls are refused and change nothing
units.py states PLANT SUPERVISOR N    a saved state is gone back to; a reset begins anew

Any difference is an exception, so that the exit code is not 0.
"""

import csv
import ctypes
import math
import shutil
import sys

import fmpy
from fmpy import extract, read_model_description, simulate_fmu
from fmpy.fmi1 import FMICallException
from fmpy.fmi2 import FMU2Slave
from fmpy.fmi3 import FMU3Slave
from fmpy.validation import validate_fmu

LOCK_ORDER = ["open", "prefill", "close"]
LOCK_REPORT = ["open", "closed", "missing"]
LOCK_ACTUAL = ["open", "slipping", "locked"]
MACHINE_ORDER = ["free", "hold", "take", "unload", "off"]
PHASE = ["wake", "rest", "prepare", "closing", "opening", "settle"]


def require(condition, what):
    """An assertion that no flag of the interpreter turns off."""
    if not condition:
        raise AssertionError(what)


class Unit:
    """A unit of either version of the standard, its variables by name."""

    def __init__(self, path, start_s=0.0, stop_s=None, begin=True, token=None):
        self.folder = extract(path)
        self.description = read_model_description(path)
        self.three = self.description.fmiVersion.startswith("3")
        self.variables = {v.name: v for v in self.description.modelVariables}
        slave = FMU3Slave if self.three else FMU2Slave
        self.messages = []
        self.slave = slave(
            guid=token or self.description.guid,
            unzipDirectory=self.folder,
            modelIdentifier=self.description.coSimulation.modelIdentifier,
            instanceName=path,
        )
        self.step_s = float(self.description.defaultExperiment.stepSize)
        self.instantiate()
        if begin:
            self.enter(start_s, stop_s)
            self.slave.exitInitializationMode()

    def instantiate(self):
        def heard(_, status, __, message):
            self.messages.append((status, message.decode("utf-8")))

        if self.three:
            self.slave.instantiate(logMessage=heard)
        else:
            callbacks = fmpy.fmi2.fmi2CallbackFunctions()
            callbacks.logger = fmpy.fmi2.fmi2CallbackLoggerTYPE(
                lambda env, name, status, category, message: heard(env, status, category, message)
            )
            callbacks.allocateMemory = fmpy.fmi2.defaultCallbacks.allocateMemory
            callbacks.freeMemory = fmpy.fmi2.defaultCallbacks.freeMemory
            self.slave.instantiate(callbacks=callbacks)

    def enter(self, start_s=0.0, stop_s=None):
        if self.three:
            self.slave.enterInitializationMode(startTime=start_s, stopTime=stop_s)
        else:
            self.slave.setupExperiment(startTime=start_s, stopTime=stop_s)
            self.slave.enterInitializationMode()

    def access(self, way, kind):
        """The function that gets or sets variables of a type."""
        names = {"Real": "Real", "Float64": "Float64", "Integer": "Integer", "Int32": "Int32"}
        names.update(Boolean="Boolean", String="String")
        names["Enumeration"] = "Int64" if self.three else "Integer"
        return getattr(self.slave, way + names[kind])

    def groups(self, names):
        """Names by type, with their references: one call a type."""
        kinds = {}
        for name in names:
            kinds.setdefault(self.variables[name].type, []).append(name)
        return [(k, n, [self.variables[x].valueReference for x in n]) for k, n in kinds.items()]

    def get(self, groups):
        found = {}
        for kind, names, references in groups:
            found.update(zip(names, self.access("get", kind)(references)))
        return found

    def set(self, groups, values):
        for kind, names, references in groups:
            self.access("set", kind)(references, [values[name] for name in names])

    def get_one(self, name):
        return self.get(self.groups([name]))[name]

    def set_one(self, name, value):
        self.set(self.groups([name]), {name: value})

    def step(self, tick, step_s=None):
        self.slave.doStep(
            currentCommunicationPoint=tick * self.step_s,
            communicationStepSize=step_s if step_s is not None else self.step_s,
        )

    def of(self, causality):
        return [v.name for v in self.variables.values() if v.causality == causality]

    def close(self):
        self.slave.freeInstance()
        shutil.rmtree(self.folder, ignore_errors=True)


def text(value):
    if isinstance(value, bytes):
        return value.decode("utf-8")
    return value


class Loop:
    """Plant and supervisor: what one puts out under a name goes into the other."""

    def __init__(self, plant, supervisor):
        self.plant, self.supervisor = Unit(plant), Unit(supervisor, begin=False)
        self.up = self.shared(self.plant, self.supervisor)
        self.down = self.shared(self.supervisor, self.plant)
        self.tick = 0
        self.begin()

    @staticmethod
    def shared(a, b):
        names = [name for name in a.of("output") if name in b.of("input")]
        require(names, "nothing to connect")
        return a.groups(names), b.groups(names)

    def begin(self):
        closed = 0
        locks = [n for n in self.plant.of("output") if n.startswith("reported:")]
        for i, name in enumerate(locks):
            closed |= (self.plant.get_one(name) == 1) << i
        self.supervisor.set_one("pressed", closed)
        self.supervisor.enter()
        self.supervisor.slave.exitInitializationMode()

    def step(self):
        seen = self.plant.get(self.up[0])
        self.supervisor.set(self.up[1], seen)
        self.supervisor.step(self.tick)
        orders = self.supervisor.get(self.down[0])
        self.plant.set(self.down[1], orders)
        self.plant.step(self.tick)
        self.tick += 1
        return seen, orders

    def digest(self):
        return text(self.plant.get_one("digest"))

    def close(self):
        self.plant.close()
        self.supervisor.close()


def number(x):
    """As the trace writes it."""
    out = f"{x:.6f}".rstrip("0").rstrip(".")
    return "0" if out == "-0" else out


def row(loop, before, after, orders):
    """A line of the trace, column by column, from what the units say."""
    told = {
        "t_s": number(loop.tick * loop.plant.step_s),
        "road_speed_mps": number(after["road_speed_mps"]),
        "demand_nm": number(before["demand_nm"]),
        "output_torque_nm": number(after["output_torque_nm"]),
        "brake_torque_nm": number(before["brake_torque_nm"]),
        "charge": number(after["charge"]),
        "engine_run_order": str(int(orders["engine_run_order"])),
        "engine_running": str(int(after["engine_running"])),
        "phase": PHASE[orders["phase"]],
    }
    for name, value in after.items():
        what, _, who = name.partition(":")
        if what in ("speed_radps", "slip_radps", "friction_work_j", "command_nm"):
            told[name] = number(value)
        elif what == "actual":
            told[name] = LOCK_ACTUAL[value]
        elif what in ("lock_torque_nm", "machine_torque_nm"):
            told[f"{what}:{who}"] = number(value)
    for name, value in before.items():
        if name.startswith("reported:"):
            told[name] = LOCK_REPORT[value]
    for name, value in orders.items():
        what, _, who = name.partition(":")
        if what == "commanded":
            told[name] = LOCK_ORDER[value]
        elif what == "order":
            told[name] = MACHINE_ORDER[value]
            given = orders[f"order_value:{who}"]
            told[f"order_value:{who}"] = number(given) if value in (1, 2) else ""
    return told


def named(column, table, plant):
    """The trace's torque columns have one name for locks and machines."""
    what, _, who = column.partition(":")
    if what != "torque_nm":
        return column
    lock = f"slip_radps:{who}" in table and f"lock_torque_nm:{who}" in plant.variables
    return ("lock_torque_nm:" if lock else "machine_torque_nm:") + who


def loop(plant, supervisor, trace, ticks):
    both = Loop(plant, supervisor)
    truths = both.plant.groups(both.plant.of("output"))
    says = both.supervisor.groups(both.supervisor.of("output"))
    names = {v.name: i for i, v in enumerate(both.plant.description.modelVariables)}
    require(len(names) == len(both.plant.variables), "names twice")
    compared = 0
    with open(trace, newline="", encoding="utf-8") as file:
        reader = csv.reader(file)
        head = next(reader)
        columns = [named(column, head, both.plant) for column in head]
        before = both.plant.get(truths)
        for n, line in zip(range(ticks), reader):
            both.step()
            after = both.plant.get(truths)
            told = row(both, before, after, both.supervisor.get(says))
            before = after
            for column, expected in zip(columns, line):
                if column in told:
                    compared += 1
                    require(told[column] == expected, f"tick {n}, {column}: {told[column]} {expected}")
    require(both.tick == ticks, f"the trace ends after {both.tick} ticks")
    missing = [c for c in columns if c not in told]
    unknown = {"request", "arrangement", "step", "refusal", "faults_stated", "faults_injected"}
    require(set(missing) <= unknown, f"not compared: {missing}")
    print(f"{compared} values of {ticks} ticks are those of the trace", file=sys.stderr)
    print(both.digest())
    require(not both.plant.messages and not both.supervisor.messages, "messages")
    both.close()


def validate(units):
    for unit in units:
        problems = validate_fmu(unit)
        require(not problems, f"{unit}: {problems}")
        description = read_model_description(unit)
        require(description.guid.startswith("{") and len(description.guid) == 38, "token")
        print(f"{unit}: {len(description.modelVariables)} variables", file=sys.stderr)


def simulate(unit):
    description = read_model_description(unit)
    step = float(description.defaultExperiment.stepSize)
    outputs = [v.name for v in description.modelVariables if v.causality == "output"]
    outputs = [name for name in outputs if name not in ("digest", "refusal")]
    result = simulate_fmu(
        unit, start_time=1.0, stop_time=1.0 + 200 * step, output_interval=step, output=outputs
    )
    require(len(result) == 201, f"{len(result)} instants")
    require(abs(result["time"][-1] - (1.0 + 200 * step)) < 1e-9, "time")
    for name in outputs:
        require(all(math.isfinite(float(x)) for x in result[name]), name)


def refused(unit, act, what, status=3):
    count = len(unit.messages)
    try:
        act()
    except FMICallException as error:
        require(error.status == status, f"{what}: status {error.status}")
        require(len(unit.messages) == count + 1, f"{what}: no message")
        return
    raise AssertionError(f"{what} was taken")


def hostile(path):
    unit = Unit(path, begin=False)
    output = next(v for v in unit.of("output") if unit.variables[v].type in ("Real", "Float64"))
    choice = next(v for v in unit.of("input") if unit.variables[v].type == "Enumeration")
    parameter = unit.of("parameter")[-1]
    real = "getFloat64" if unit.three else "getReal"
    refused(unit, lambda: unit.step(0), "a step before the initialisation")
    refused(unit, lambda: unit.get_one(output), "an output before the initialisation")
    refused(unit, unit.slave.exitInitializationMode, "an end of no initialisation")
    unit.enter(0.0, 1.0)
    unit.slave.exitInitializationMode()
    refused(unit, unit.slave.enterInitializationMode, "a second initialisation")
    for reference in (100_000, 4_294_967_295):
        refused(unit, lambda r=reference: getattr(unit.slave, real)([r]), "an unknown reference")
    wrong = [unit.variables[choice].valueReference]
    refused(unit, lambda: getattr(unit.slave, real)(wrong), "a choice as a number")
    refused(unit, lambda: unit.set_one(choice, 77), "a choice that is not in its list")
    refused(unit, lambda: unit.set_one(output, 1.0), "an output that is set")
    refused(unit, lambda: unit.set_one(parameter, 1), "a parameter in the run")
    for step_s in (0.0, -unit.step_s, 0.4 * unit.step_s, 1.5 * unit.step_s, math.nan, math.inf, 1e300):
        refused(unit, lambda s=step_s: unit.step(0, s), f"a step of {step_s} s", status=2)
    for tick in (5, -1, math.nan, math.inf):
        refused(unit, lambda t=tick: unit.step(t), f"a step from tick {tick}")
    refused(unit, lambda: unit.step(0, 1001 * unit.step_s), "a step past the end")
    # One bad reference among good ones: nothing is set.
    inputs = [n for n in unit.of("input") if unit.variables[n].type in ("Real", "Float64")]
    way = "setFloat64" if unit.three else "setReal"
    references = [unit.variables[inputs[0]].valueReference, 100_000]
    kept = unit.get_one(inputs[0])
    refused(unit, lambda: getattr(unit.slave, way)(references, [9.0, 9.0]), "a bad reference")
    require(unit.get_one(inputs[0]) == kept, "a value was set")
    nulls(unit)
    # Values that no plant gives: every step is made, whatever comes.
    for n, value in enumerate([math.nan, math.inf, -math.inf, 1e308, -1e308, 0.0, 1e-320]):
        for name in inputs:
            unit.set_one(name, value)
        unit.step(n)
    # Wrong calls have changed nothing: it is where its good steps have brought it, and goes on.
    unit.step(7, 3 * unit.step_s)
    require(abs(unit.get_one("time") - 10 * unit.step_s) < 1e-9, "time")
    unit.slave.terminate()
    refused(unit, lambda: unit.step(10), "a step after the end")
    unit.slave.reset()
    unit.enter()
    unit.slave.exitInitializationMode()
    unit.step(0)
    unit.close()
    other = None
    try:
        other = Unit(path, token="{00000000-0000-0000-0000-000000000000}")
    except Exception as error:  # FMPy raises plain exceptions here.
        require("Failed to instantiate" in str(error), str(error))
    require(other is None, "a wrong token was taken")


def nulls(unit):
    """Null pointers, past FMPy's own wrappers."""
    name = "fmi3" if unit.three else "fmi2"
    dll = unit.slave.dll
    get = getattr(dll, name + ("GetFloat64" if unit.three else "GetReal"))
    tail = (ctypes.c_size_t(1),) if unit.three else ()
    here = ctypes.c_void_p(unit.slave.component)
    one = (ctypes.c_uint * 1)(0)
    require(get(None, one, ctypes.c_size_t(1), None, *tail) == 3, "no instance")
    require(get(here, None, ctypes.c_size_t(1), None, *tail) == 3, "no references")
    require(get(here, one, ctypes.c_size_t(1), None, *tail) == 3, "no room")
    state = getattr(dll, name + ("GetFMUState" if unit.three else "GetFMUstate"))
    require(state(here, None) == 3, "no slot")
    getattr(dll, name + "FreeInstance")(None)


def states(plant, supervisor, ticks):
    both = Loop(plant, supervisor)
    three = both.plant.three
    save = "getFMUState" if three else "getFMUState"
    for _ in range(ticks):
        both.step()
    saved = [getattr(unit.slave, save)() for unit in (both.plant, both.supervisor)]
    ends = []
    for _ in range(2):
        for _ in range(ticks):
            both.step()
        ends.append(both.digest())
        for unit, state in zip((both.plant, both.supervisor), saved):
            unit.slave.setFMUState(state)
        both.tick = ticks
    require(ends[0] == ends[1], f"{ends}")
    require(both.digest() != ends[0], "the digest does not move")
    for unit, state in zip((both.plant, both.supervisor), saved):
        unit.slave.freeFMUState(state)
    # As made.
    for unit in (both.plant, both.supervisor):
        unit.slave.reset()
    both.tick = 0
    both.plant.enter()
    both.plant.slave.exitInitializationMode()
    both.begin()
    for _ in range(2 * ticks):
        both.step()
    require(both.digest() == ends[0], "a reset does not begin anew")
    both.close()


def main(arguments):
    command, rest = arguments[0], arguments[1:]
    if command == "validate":
        validate(rest)
    elif command == "simulate":
        simulate(*rest)
    elif command == "loop":
        loop(*rest[:3], int(rest[3]))
    elif command == "hostile":
        hostile(*rest)
    elif command == "states":
        states(*rest[:2], int(rest[2]))
    else:
        raise SystemExit(__doc__)


if __name__ == "__main__":
    main(sys.argv[1:])
