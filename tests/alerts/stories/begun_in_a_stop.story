# A second job is begun while the first is stopped by the wind: it is stopped as well.
start hill coarse
1 min calm
3 min windy
  11:02 driver: Stop hill: too windy, 12, max 10 mph
    Stop spraying now.
    Wind 12 mph, at most 10 mph (label): 2 mph over.
    Not inside again as far as the forecast reaches.
    Job: coarse, about 41 min of spraying left.
    Wind measured by mast 1 min ago.
  11:02 mate: Pare hill: demasiado viento, 12 mph. Deje de aplicar ya. Viento 12 mph, maximo 10 mph (etiqueta): 2 mph de mas. Decide la etiqueta.
start creek_side old_coarse
2 min windy
  11:05 driver: Stop creek side: too windy, 12 mph
    Stop spraying now.
    Wind 12 mph, at most 10 mph (label): 2 mph over.
    Not inside again as far as the forecast reaches.
    Job: old coarse, about 42 min of spraying left.
    Wind measured by mast 1 min ago.
  11:05 mate: Pare creek side: demasiado viento, 12. Deje de aplicar ya. Viento 12 mph, maximo 10 mph (etiqueta): 2 mph de mas. Decide la etiqueta.
15 min calm
  11:17 driver: All clear hill: inside for 10 min
    Inside for 10 min.
    Job: coarse, about 26 min of spraying left.
    Wind measured by mast 1 min ago.
  11:17 mate: Puede seguir hill: 10 min dentro. 10 min dentro. Trabajo: coarse, quedan unos 26 min de pulverizacion. Decide la etiqueta.
  11:17 driver: All clear creek side: inside for 10 min
    Inside for 10 min.
    Job: old coarse, about 30 min of spraying left.
    Wind measured by mast 1 min ago.
  11:17 mate: Puede seguir creek side: 10 min dentro. 10 min dentro. Trabajo: old coarse, quedan unos 30 min de pulverizacion. Decide la etiqueta.
not (?i)check|unknown
most 4 driver
most 4 mate
