"""The memory of the compiled loop: one record per thing, parameters first, state after."""

import numpy as np

NODES = 8
F = np.float64


def _record(params: str, state: str, extra: list[tuple[str, type, tuple[int, ...]]] | None = None):
    names = params.split() + state.split()
    return np.dtype([(name, F) for name in names] + (extra or []), align=True)


PACK_PARAMS = (
    "series cap_ah r0 r1 r2 tau1 tau2 ea0 ea1 ea2 i_bend_a tau_d low_rise heat_j_k heat_w_k "
    "ambient_c lead_ohm link_ohm aux_a weak_cap weak_r spread_v"
)
PACK = _record(
    PACK_PARAMS,
    "z zw u1 u2 temp_c i_a v_cells cell_min cell_max heat_w",
    [("node", F, (NODES,)), ("width", F, (NODES,))],
)

DRIVE_PARAMS = (
    "side_m kt r20 drag0 drag1 inertia gear radius eff phase_drive phase_brake batt_drive "
    "batt_brake from_v stop_v ov_v ctrl_derate ctrl_stop mot_derate mot_stop uv_delay uv_hyst "
    "uv_wait uv_release ov_hyst ov_wait duty_max slew_up slew_down lim_tau v_tau derate_period "
    "standby_w drop_v brake_full_mps brake_end_mps gain offset link_tau freewheel dead_v cap_f "
    "branch_ohm wind_j_k wind_case_w_k case_j_k case_air_w_k case_air_v ctrl_j_k ctrl_w_k "
    "ctrl_per_a2 hot_hyst follower grip_n power_cap_w air_c computed latch_v"
)
DRIVE = _record(
    DRIVE_PARAMS,
    "omega i_a v_a v_f derate derate_at lim_f wind_c case_c ctrl_c mot_seen_c ctrl_seen_c "
    "demand demand_seen uv_latch uv_t uv_ok_t ov_latch ov_t ov_ok_t hot_latch off_until off_code "
    "retries attempt_t block governor loose slip p_w i_batt duty torque force asked alive_t dead "
    "branch_open hold jerk path_was path_t freeze i_shown",
)

BMS_PARAMS = (
    "trip_d delay_d trip_c delay_c cell_low low_delay cell_high high_delay hot_c heat_j_k heat_w_k "
    "r_heat i_tau restart_s needs_rest low_rearm high_rearm hot_rearm opens_both separate idle_s "
    "idle_a drain resets"
)
BMS = _record(BMS_PARAMS, "i_f acc_d acc_c t_low t_high temp_c dis chg open_t idle_t woke")

VEHICLE_PARAMS = "mass rot_mass crr cda rho grip wind_gain"
VEHICLE = _record(VEHICLE_PARAMS, "v s acc bus_v path_open path_code contact_ohm")

RIDER_PARAMS = (
    "kp ki ramp_up ramp_down decide_s noise a_brake regen_first mech_max_n mech_from react_s "
    "rest_s cycle_s leave_one_side tries max_demand after_loss gentle_m"
)
RIDER = _record(
    RIDER_PARAMS,
    "target hand integ decide_t mode mode_t stop_i wait_t mech lost_t tried cycled idle_grip",
)

FAULT = _record("kind t0 t1 drive p0 p1 p2", "done")

PER_DRIVE = (
    *("i_batt", "v_bus", "i_phase", "omega", "wheel_mps", "demand_seen", "duty", "ctrl_c"),
    *("mot_c", "governor", "block", "dead", "asked", "torque", "derate", "freeze"),
)
SHARED = (
    *("time_s", "s_m", "v_mps", "acc", "i_pack", "v_cells", "v_bus", "soc", "temp_c", "cell_min"),
    *("cell_max", "hand", "mech", "bms_dis", "bms_chg", "path_open", "acc_d", "acc_c"),
    *("bms_temp_c", "weak_soc"),
)
