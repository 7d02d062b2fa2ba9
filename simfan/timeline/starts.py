"""Starts of a motor on the line: how many are permitted, and how hot its rotor may become."""

from dataclasses import dataclass, field

from simfan.plant.drive import Motor


@dataclass
class Starts:
    """Starts so far, and when the motor ran last. Times [s]."""

    motor: Motor
    ran_until: float | None
    """When it had its supply last; None for a motor that never ran."""
    times: list[float] = field(default_factory=list)
    hot_at: list[bool] = field(default_factory=list)

    def runs(self, now: float) -> None:
        """It has its supply now."""
        self.ran_until = now

    def hot(self, now: float) -> bool:
        """Whether it ran within the time in which it cools down."""
        return self.ran_until is not None and now - self.ran_until < self.motor.cools_in

    def count(self, now: float) -> None:
        """One more."""
        self.times.append(now)
        self.hot_at.append(self.hot(now))

    def refused(self, now: float) -> str:
        """Why no further start is permitted now; empty where one is."""
        permitted = self.motor.permitted_starts
        recent = [k for k, at in enumerate(self.times)
                  if permitted and now - at < permitted.within]
        if permitted is None or not recent:
            return ""
        hot = self.hot_at[recent[0]]
        most = permitted.hot if hot else permitted.cold
        if len(recent) < most:
            return ""
        again = self.times[recent[-most]] + permitted.within
        return (f"{most} start{'s' if most > 1 else ''} in {permitted.within:g} s permitted from "
                f"{'hot' if hot else 'cold'}, the next at {again:g} s")

    def allowed(self, hot: bool) -> float | None:
        """Locked-rotor time [s] that the maker states; the hot one serves a cold motor, too, where
        only that is known."""
        if hot:
            return self.motor.locked_rotor_time
        return self.motor.locked_rotor_time_cold or self.motor.locked_rotor_time


def heat_words(locked: float, allowed: float | None, hot: bool) -> str:
    """What a start did to the rotor, beside what its maker allows. Times locked [s]."""
    words = f"heated like {locked:.3g} s locked"
    if allowed is None:
        return words
    state = "hot" if hot else "cold"
    if locked > allowed:
        return f"{words}; warning: more than the {allowed:.3g} s its maker allows {state}"
    return (f"{words}, {allowed:.3g} s allowed {state}: margin "
            f"{100.0 * (1.0 - locked / allowed):.3g} %")
