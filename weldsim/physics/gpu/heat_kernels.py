"""Kernels of the heat: conductivity of the cells, balance of the nodes, safe update."""

# numba types a kernel's arguments when it is launched, and numba.cuda has no types of its own
# mypy: disable-error-code="no-untyped-def, untyped-decorator, attr-defined, no-untyped-call"

from __future__ import annotations

from typing import Any

from numba import cuda


@cuda.jit(device=True)
def stretch_of(x: Any, places: Any) -> Any:
    """Number of the stretch of a table that a place lies in, the end ones without end.

    Parameters
    ----------
    x : float
        The place.
    places : array, shape (n,)
        Of the table, growing.

    Returns
    -------
    int
        From 0 to n - 2.
    """
    low = 0
    high = places.size - 1
    while high - low > 1:
        middle = (low + high) // 2
        if x >= places[middle]:
            low = middle
        else:
            high = middle
    return low


@cuda.jit(cache=True)
def conduct(cells, active, temperature, places, values, numbers, conductivity):
    """Conductivity of the cells at their mean temperature.

    Parameters
    ----------
    cells : array of int, shape (H, n)
        Corners.
    active : array of bool, shape (H,)
        Cells that are there; the others do not conduct.
    temperature : array, shape (Nh,)
        [K]
    places, values : array
        Table, held beyond its ends. [K, W/(m K)]
    numbers : array
        The last of them: 0 takes the new value, 0.5 the mean of it and the old, 1 the old.
    conductivity : array, shape (H,)
        Changed. [W/(m K)]
    """
    c = cuda.grid(1)
    if c >= conductivity.size:
        return
    fresh = 0.0
    if active[c]:
        n = cells.shape[1]
        mean = 0.0
        for a in range(n):
            mean += temperature[cells[c, a]]
        mean = min(max(mean / n, places[0]), places[places.size - 1])
        i = stretch_of(mean, places)
        slope = (values[i + 1] - values[i]) / (places[i + 1] - places[i])
        fresh = values[i] + slope * (mean - places[i])
    old = numbers[4]
    conductivity[c] = fresh + old * (conductivity[c] - fresh)


@cuda.jit(cache=True)
def enthalpies(temperature, places, values, heat):
    """Specific enthalpy.

    Parameters
    ----------
    temperature : array, shape (Nh,)
        [K]
    places, values : array
        Table; beyond its ends its last stretch goes on. [K, J/kg]
    heat : array, shape (Nh,)
        Written to. [J/kg]
    """
    i = cuda.grid(1)
    if i >= heat.size:
        return
    k = stretch_of(temperature[i], places)
    slope = (values[k + 1] - values[k]) / (places[k + 1] - places[k])
    heat[i] = values[k] + slope * (temperature[i] - places[k])


@cuda.jit(cache=True)
def balance(
    temperature, old_heat, volume, film_area, contact, power, flow, there, places, values,
    numbers, residual, sums, heat, capacity, diagonal,
):  # fmt: skip
    """How far a guess of the temperature is from closing the balance at every node.

    Parameters
    ----------
    temperature, old_heat : array, shape (Nh,)
        The guess, and the enthalpy at the start. [K, J/kg]
    volume, film_area, contact, power, flow : array, shape (Nh,)
        See `SurfaceExchange`; heat that comes and that flows on. [m3, m2, W/K, W, W]
    there : array of bool, shape (Nh,)
        Nodes of metal that is there.
    places, values : array
        Table of the enthalpy. [K, J/kg]
    numbers : array
        Density over time step, film coefficient, emissivity times Stefan and Boltzmann's constant,
        temperature around. [kg/(m3 s), W/(m2 K), W/(m2 K4), K]
    residual : array, shape (Nh,)
        Written to, zero where no metal is. [W]
    sums : array, shape (3, Nh)
        Size of the residual, what to measure it by, heat lost; written to. [W]
    heat, capacity, diagonal : array, shape (Nh,)
        Enthalpy, its slope, and what the system matrix has besides conduction; written to.
        [J/kg, J/(kg K), W/K]
    """
    i = cuda.grid(1)
    if i >= residual.size:
        return
    rate = numbers[0]
    film = numbers[1]
    radiate = numbers[2]
    ambient = numbers[3]
    t = temperature[i]
    k = stretch_of(t, places)
    slope = (values[k + 1] - values[k]) / (places[k + 1] - places[k])
    held = values[k] + slope * (t - places[k])
    mass = rate * volume[i]
    change = mass * (held - old_heat[i])
    rise = t - ambient
    loss = film_area[i] * (film * rise + radiate * (t * t * t * t - ambient**4))
    loss += contact[i] * rise
    left = power[i] - change - flow[i] - loss
    heat[i] = held
    capacity[i] = slope
    diagonal[i] = mass * slope + film_area[i] * (film + 4.0 * radiate * t * t * t) + contact[i]
    sums[2, i] = loss
    if there[i]:
        residual[i] = left
        sums[0, i] = abs(left)
        sums[1, i] = abs(power[i]) + abs(change) + abs(loss)
    else:
        residual[i] = 0.0
        sums[0, i] = 0.0
        sums[1, i] = abs(left)


@cuda.jit(cache=True)
def update(temperature, heat, capacity, change, places, values):
    """Newton update that does not jump over a kink; see `heat_conduction`.

    Parameters
    ----------
    temperature : array, shape (Nh,)
        Changed. [K]
    heat, capacity : array, shape (Nh,)
        Enthalpy and its slope there. [J/kg, J/(kg K)]
    change : array, shape (Nh,)
        That would close the balance if nothing else changed. [K]
    places, values : array
        Table of the enthalpy. [K, J/kg]
    """
    i = cuda.grid(1)
    if i >= temperature.size:
        return
    wanted = heat[i] + capacity[i] * change[i]
    k = stretch_of(wanted, values)
    slope = (places[k + 1] - places[k]) / (values[k + 1] - values[k])
    by_heat = places[k] + slope * (wanted - values[k])
    if abs(by_heat - temperature[i]) < abs(change[i]):
        temperature[i] = by_heat
    else:
        temperature[i] += change[i]


@cuda.jit(cache=True)
def complete(indptr, indices, there, diagonal, data):
    """Add the diagonal to the conduction, and cut nodes out where no metal is.

    Parameters
    ----------
    indptr, indices : array of int
        Of the pattern.
    there : array of bool, shape (Nh,)
        Nodes of metal that is there.
    diagonal : array, shape (Nh,)
        What the matrix has besides conduction. [W/K]
    data : array, shape (nnz,)
        Values of the upper triangle, changed. [W/K]
    """
    i = cuda.grid(1)
    if i >= diagonal.size:
        return
    begin = indptr[i]
    if there[i]:
        data[begin] += diagonal[i]
        for p in range(begin + 1, indptr[i + 1]):
            if not there[indices[p]]:
                data[p] = 0.0
    else:
        data[begin] = 1.0
        for p in range(begin + 1, indptr[i + 1]):
            data[p] = 0.0
