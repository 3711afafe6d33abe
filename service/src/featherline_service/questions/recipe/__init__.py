"""The question "with which settings?".

In: a film, an upper and a press. Out: the setting, its window, the steps and the cautions, or why there is none.
Read `recipes.py` first, then `windows.py`, which computes the window; `heat/window.py` chooses the dwell.
"""
