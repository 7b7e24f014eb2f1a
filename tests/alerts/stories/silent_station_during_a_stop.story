# A stop stands when the mast falls silent: that it cannot be seen is said, and nothing is clear.
start hill coarse
1 min calm
1 min windy
  11:02 driver: Stop hill: too windy, 12, max 10 mph
    Stop spraying now.
    Wind 12 mph, at most 10 mph (label): 2 mph over.
    Not inside again as far as the forecast reaches.
    Job: coarse, about 41 min of spraying left.
    Wind measured by mast 1 min ago.
  11:02 mate: Pare hill: demasiado viento, 12 mph. Deje de aplicar ya. Viento 12 mph, maximo 10 mph (etiqueta): 2 mph de mas. Decide la etiqueta.
20 min mast silent
  11:03 driver: Stop hill: cannot see wind
    Stop spraying now.
    Wind unknown: no value to rely on; see to mast.
    Also gust unknown: no value to rely on; see to mast; inversion unknown: no value to rely on; see to mast.
    Not known when it is inside again: not all of the hours ahead are known.
    Job: coarse, about 40 min of spraying left.
    Nobody has reported the wind for 16 min.
  11:03 mate: Pare hill: sin datos de viento. Deje de aplicar ya. Viento, desconocido: ningun valor del que fiarse; atienda a mast. Decide la etiqueta.
  11:07 helper: Stop hill: cannot see wind. mate has not acknowledged this for 5 min. Stop spraying now. Wind unknown: no value to rely on; see to mast. Label decides.
  11:08 helper: Stop hill: cannot see wind. mate has not acknowledged this for 5 min. Stop spraying now. Wind unknown: no value to rely on; see to mast. Label decides.
10 min calm
1 min calm
  11:33 driver: All clear hill: inside for 10 min
    Inside for 10 min.
    Job: coarse, about 10 min of spraying left.
    Wind measured by mast 1 min ago.
  11:33 mate: Puede seguir hill: 10 min dentro. 10 min dentro. Trabajo: coarse, quedan unos 10 min de pulverizacion. Decide la etiqueta.
not Check|Mida
most 3 driver
most 3 mate
most 2 helper
