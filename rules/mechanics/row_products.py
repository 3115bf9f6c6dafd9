"""Products of rows with a matrix or a vector, each row by itself.

A library multiplies a block of rows in an order that depends on how many there are, so the last digits of a row would
depend on its neighbours. What is answered in one go for many stacks must equal what is answered for each alone.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["times_matrix", "times_vector"]

FloatArray = NDArray[np.float64]


def times_matrix(rows: FloatArray, matrix: FloatArray) -> FloatArray:
    """Return the product of each row, (m, n), with a matrix (n, k): (m, k).

    >>> times_matrix(np.array([[1.0, 2.0]]), np.array([[3.0, 4.0], [5.0, 6.0]])).tolist()
    [[13.0, 16.0]]
    """
    product: FloatArray = np.matmul(rows[:, None, :], matrix)[:, 0, :]
    return product


def times_vector(rows: FloatArray, vector: FloatArray) -> FloatArray:
    """Return the product of each row, (m, n), with a vector (n,): (m,).

    >>> times_vector(np.array([[1.0, 2.0]]), np.array([3.0, 5.0])).tolist()
    [13.0]
    """
    product: FloatArray = np.matmul(rows[:, None, :], vector[:, None])[:, 0, 0]
    return product
