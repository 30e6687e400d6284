"""Pictures of a job on paper: both parts, the joint, stages, 1:1 strips, a cut sheet; as SVG, PDF and DXF.

A picture is made once, of lines, shapes and measured text in mm (`picture.py`); three writers put it into files.
"""
