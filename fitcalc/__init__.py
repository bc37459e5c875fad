"""The calculation: pure Python with NumPy and SciPy, no Django, no database, no input or output.

Frame after ISO 8855: x forward, y to the left, z up; the front axle's centre is the datum, because
the front axle is fixed and the rear one moves. Lengths are in millimetres, angles in degrees,
masses in grams unless a name says otherwise.
"""
