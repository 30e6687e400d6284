"""Draws a job on paper: both parts, the joint, stages, 1:1 strips and a cut sheet, as SVG, PDF and DXF.

A picture is made once, from lines, shapes and measured text in mm (`picture.py`). Three writers put it into files.
"""
